"""The small pieces that every rendering is put together from."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.answer import Answer, Unexplained
from slackwater.fitting.report import words
from slackwater.model import names as n


class Terms(Text):
    """What words on a screen mean, shown where it is asked for."""


@dataclass(frozen=True)
class Details:
    """A piece that most can do without, shown where it is asked for."""

    piece: RenderableType

    def __rich__(self) -> RenderableType:
        """Return the piece."""
        return self.piece


def heading_of(answer: Answer, title: str) -> Text:
    """Return an answer's first line: the season, then what the answer is about."""
    return Text.assemble((f"{answer.about.season}: ", "dim"), (title, "bold"))


def likely(level: float) -> str:
    """Say what the ranges of an answer hold."""
    return f"Ranges hold {words.out_of_ten(level)}."


def new_table(first: str, *others: str) -> Table:
    """Return an empty table: names in the first column, figures in the others."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column(first, overflow="fold", min_width=8)
    for name in others:
        table.add_column(name, justify="right", no_wrap=True)
    return table


def days_saved(saved: xr.DataArray) -> Table:
    """Return the days that a measure saves, type by type; `saved` has a type and its bounds."""
    table = new_table("session type", "days saved")
    for label in saved[n.TYPE].values:
        table.add_row(Text(str(label)), words.days_range(saved.sel({n.TYPE: label})))
    return table


def unexplained(found: Unexplained | None) -> list[Text]:
    """Say what moves the readings and is not in the log; nothing where nothing does."""
    return [Text(f"  {part}") for part in words.unexplained(found)]


def new_facts() -> Table:
    """Return an empty table of facts: what, and how much."""
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 2))
    table.add_column()
    table.add_column()
    return table
