"""The small pieces that every rendering is put together from."""

from __future__ import annotations

import math
from typing import Any

import xarray as xr
from rich import box
from rich.table import Table
from rich.text import Text

from slackwater.fitting.journey.next_step import NextStep
from slackwater.fitting.report import words

Json = dict[str, Any]


def heading_of(answer: xr.Dataset, title: str) -> Text:
    """Return an answer's first line: the season, then what the answer is about."""
    return Text.assemble((f"{answer.attrs['season']}: ", "dim"), (title, "bold"))


def next_text(step: NextStep) -> Text:
    """Return the next step, its command on a line of its own so that it can be copied."""
    return Text(f"Next: {step.sentence}:\n  {step.command}")


def new_table(first: str, *others: str) -> Table:
    """Return an empty table: names in the first column, figures in the others."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column(first, overflow="fold", min_width=8)
    for name in others:
        table.add_column(name, justify="right", no_wrap=True)
    return table


def new_facts() -> Table:
    """Return an empty table of facts: what, and how much."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 2))
    table.add_column()
    table.add_column()
    return table


def json_interval(values: xr.DataArray) -> Json:
    """Return an interval as JSON has it, None where a bound is not known."""
    low, median, high = (v if math.isfinite(v) else None for v in words.triple(values))
    return {"median": median, "low": low, "high": high}


def json_number(value: xr.DataArray) -> float | None:
    """Return a number, None where it is not known."""
    number = float(value)
    return number if math.isfinite(number) else None


def json_whole(value: xr.DataArray) -> int | None:
    """Return a whole number, None where it is not known."""
    number = json_number(value)
    return None if number is None else round(number)
