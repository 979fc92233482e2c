"""The way to baseline at rest, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Final

import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.washout import LearntWashout, UsualWashout, Wanted, Washout
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of, likely, new_table
from slackwater.fitting.report.terminal.standing import plateau
from slackwater.fitting.text import plural
from slackwater.model import names as n
from slackwater.model.season import DAY

_WANTED: Final = {
    "baseline_half_width_ln": ("half of baseline's likely range", "at most the threshold, {}"),
    "rest_nights_read": ("nights of rest read", "{} or more"),
    "share_missing": ("nights of rest not read", "at most {}"),
    "chance_at_baseline": ("chance of being at baseline", "{} or more"),
}


def text(answer: LearntWashout | UsualWashout) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    title = f"Rest to baseline, from the morning of {answer.about.last_night}"
    if isinstance(answer, UsualWashout):
        title = "Rest to baseline by general experience, not about this athlete"
    yield heading_of(answer, title)
    yield Text(f"  {_needed(answer)}")
    yield Text(f"  {_rested(answer)}")
    yield _coming(answer.coming)
    if isinstance(answer, LearntWashout):
        yield from _past(answer)
        yield from _still_wanted(answer.wanted)
    yield _table_of_conditions(answer)
    yield Terms(
        f"{sentence(answer.common_practice)} Days count from the last reading's morning, with "
        f"nothing but rest from then on. {likely(answer.about.level)}"
    )


def _needed(answer: Washout) -> str:
    sure, now = words.chance(answer.chance_wanted), words.chance(answer.chance_at_baseline)
    days = answer.further_rest_days
    if days is None:
        return f"More than 60 further days of rest until the chance of baseline is {sure}."
    if days == 0:
        return f"No further rest is needed: the chance of being at baseline is {now}."
    more = plural(days, "more day")
    until = words.day_name(str(answer.about.last_night + DAY * days))
    return (
        f"{more} of complete rest, until {until}: then the chance of being at baseline is {sure} "
        f"or more (now {now})."
    )


def _rested(answer: LearntWashout | UsualWashout) -> str:
    rest = answer.rest
    after = sentence(rest.after)
    since = f"since {after}" if after else "no session so far"
    so_far = f"Rest so far: {plural(rest.nights, 'night')} ({since})."
    if isinstance(answer, LearntWashout):
        return so_far
    in_all = answer.rest_days_in_all
    usual = "more than 60 days" if in_all is None else plural(in_all, "day")
    return f"{so_far} Rest from an unknown start usually takes {usual} in all."


def _coming(coming: xr.Dataset) -> Table:
    table = new_table("rest until", "dip left", "chance of being at baseline")
    for night in coming[n.NIGHT].values:
        row = coming.sel({n.NIGHT: night})
        left, share = words.percent_dip(row["dip_left_ln"]), float(row["chance_at_baseline"])
        table.add_row(str(night)[:10], left, words.chance(share))
    return table


def _past(answer: LearntWashout) -> Iterator[RenderableType]:
    yield Details(Text("Looking back, since a session or stressor last weighed:", style="bold"))
    table = new_table("morning", "reading", "dip left", "by the model", "by the plain rule")
    for morning in answer.past[n.NIGHT].values:
        row = answer.past.sel({n.NIGHT: morning})
        reading, rise = float(row["rmssd_ms"]), float(row["rise_ln"])
        told = str(row["by_plain_rule"].item())
        table.add_row(
            str(morning)[:10],
            "not read" if math.isnan(reading) else f"{reading:.0f} ms",
            words.tight_dip(row["dip_left_ln"]),
            f"{row['by_model'].item()}, {words.chance(float(row['chance_flat']))}",
            told if math.isnan(rise) else f"{told}, {words.signed(100 * math.expm1(rise), 0)} %",
        )
    yield Details(table)
    yield Terms(
        f"Plateau of rest by the model: {plateau(answer.plateau, 'in a row')}. By the model, "
        f"{sentence(answer.model_rule)}. By the plain rule, {sentence(answer.plain_rule)}."
    )


def _still_wanted(wanted: tuple[Wanted, ...]) -> Iterator[RenderableType]:
    missing = [row for row in wanted if not row.met]
    said = f"{len(missing)} of {len(wanted)} still missing" if missing else "all of it is there"
    yield Text(f"Before baseline counts as known ({said}):", style="bold")
    table = new_table("what", "now", "wanted", "")
    for row in wanted:
        what, want = _WANTED[row.what]
        have, enough = (_amount(row.what, value) for value in (row.have, row.want))
        table.add_row(what, have, want.format(enough), "met" if row.met else "missing")
    yield table


def _amount(what: str, value: float) -> str:
    if what == "rest_nights_read":
        return str(value)
    if what == "chance_at_baseline":
        return words.chance(value)
    return f"{100 * (math.expm1(value) if what.endswith('_ln') else value):.0f} %"


def _table_of_conditions(answer: Washout) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in ("a washout holds if", "by your log", ""):
        table.add_column(heading, overflow="fold")
    for row in answer.conditions:
        table.add_row(Text(sentence(row.condition)), row.state, Text(sentence(row.detail)))
    return table
