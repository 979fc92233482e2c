"""The way to baseline at rest, as terminal text and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any, Final

import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.baseline import FLAT_CHANCE
from slackwater.fitting.answers.washout import COMMON_PRACTICE, MODEL_RULE, PAST, PLAIN_RULE, SURE
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import json_interval, json_whole, new_table
from slackwater.model import names as n

_WANTED: Final = {
    "baseline_half_width_ln": ("half of baseline's likely range", "at most the threshold, {}"),
    "rest_nights_read": ("nights of rest read", "{} or more"),
    "share_missing": ("nights of rest not read", "at most {}"),
    "chance_at_baseline": ("chance of being at baseline", "{} or more"),
}


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    title = f"Rest to baseline, from the morning of {facts['last_night']}"
    if facts["basis"] == "priors":
        title = "Rest to baseline by general experience, not about this athlete"
    yield Text.assemble((f"{facts['season']}: ", "dim"), (title, "bold"))
    yield Text(f"  {_sentence(answer)}")
    yield Text(f"  {_rested(answer)}")
    yield _coming(answer)
    if facts["basis"] == "posterior":
        yield from _past(answer)
        yield from _still_wanted(answer)
    yield _table_of_conditions(answer)
    yield Text(
        f"{COMMON_PRACTICE} Days count from the last reading's morning, with nothing but rest "
        f"from then on. Ranges hold {words.out_of_ten(facts['level'])}."
    )


def _sentence(answer: xr.Dataset) -> str:
    days, sure = float(answer["further_rest_days"]), words.chance(SURE)
    now = words.chance(float(answer["chance_at_baseline"]))
    if math.isnan(days):
        return f"More than 60 further days of rest until the chance of baseline is {sure}."
    if days == 0:
        return f"No further rest is needed: the chance of being at baseline is {now}."
    more = words.plural(round(days), "more day")
    return f"{more} of complete rest until the chance of being at baseline is {sure} (now {now})."


def _rested(answer: xr.Dataset) -> str:
    rest = answer.attrs["rest"]
    since = f"since {rest['after']}" if rest["after"] else "no session so far"
    so_far = f"Rest so far: {words.plural(rest['nights'], 'night')} ({since})."
    if answer.attrs["basis"] == "posterior":
        return so_far
    in_all = float(answer["rest_days_in_all"])
    usual = "more than 60 days" if math.isnan(in_all) else words.plural(round(in_all), "day")
    return f"{so_far} Rest from an unknown start usually takes {usual} in all."


def _coming(answer: xr.Dataset) -> Table:
    table = new_table("rest until", "dip left", "chance of being at baseline")
    for night in answer[n.NIGHT].values:
        row = answer.sel({n.NIGHT: night})
        left, share = words.percent_dip(row["coming_dip_ln"]), float(row["coming_chance"])
        table.add_row(str(night)[:10], left, words.chance(share))
    return table


def _past(answer: xr.Dataset) -> Iterator[RenderableType]:
    threshold = float(answer["threshold_ln"])
    yield Text("Looking back, since a session or stressor last weighed:", style="bold")
    table = new_table("morning", "reading", "dip left", "by the model", "by the plain rule")
    for morning in answer[PAST].values:
        row = answer.sel({PAST: morning})
        reading, share = float(row["rmssd_ms"]), float(row["chance_flat"])
        table.add_row(
            str(morning)[:10],
            "not read" if math.isnan(reading) else f"{reading:.0f} ms",
            words.tight_dip(row["dip_left_ln"]),
            f"{'flat' if share >= FLAT_CHANCE else 'not flat'}, {words.chance(share)}",
            _plain(float(row["rise_ln"]), threshold),
        )
    yield table
    nights = words.plural(int(answer["flat_nights"]), "flat night")
    reached = "reached" if bool(answer["plateau_reached"]) else "not reached"
    yield Text(
        f"Plateau of rest by the model: {reached} ({nights} in a row). By the model, {MODEL_RULE}. "
        f"By the plain rule, {PLAIN_RULE}."
    )


def _plain(rise: float, threshold: float) -> str:
    if math.isnan(rise):
        return "cannot say"
    shown = f"{100 * math.expm1(rise):+.0f} %"
    return f"no rise, {shown}" if rise <= threshold else f"rising, {shown}"


def _still_wanted(answer: xr.Dataset) -> Iterator[RenderableType]:
    wanted = answer.attrs["wanted"]
    missing = [row for row in wanted if not row["met"]]
    said = f"{len(missing)} of {len(wanted)} still missing" if missing else "all of it is there"
    yield Text(f"Before baseline counts as known ({said}):", style="bold")
    table = new_table("what", "now", "wanted", "")
    for row in wanted:
        what, want = _WANTED[row["what"]]
        met = "met" if row["met"] else "missing"
        table.add_row(what, _amount(row, "have"), want.format(_amount(row, "want")), met)
    yield table


def _amount(row: dict[str, Any], key: str) -> str:
    value = row[key]
    if row["what"] == "rest_nights_read":
        return str(value)
    if row["what"] == "chance_at_baseline":
        return words.chance(value)
    return f"{100 * (math.expm1(value) if row['what'].endswith('_ln') else value):.0f} %"


def _table_of_conditions(answer: xr.Dataset) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in ("a washout holds if", "by your log", ""):
        table.add_column(heading, overflow="fold")
    for row in answer.attrs["conditions"]:
        table.add_row(Text(row["condition"]), row["state"], Text(row["detail"]))
    return table


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    facts = answer.attrs
    found: dict[str, Any] = {
        "basis": facts["basis"],
        "chance_wanted": SURE,
        "further_rest_days": json_whole(answer["further_rest_days"]),
        "chance_at_baseline": float(answer["chance_at_baseline"]),
        "rest": facts["rest"],
        "coming": [
            {
                "date": str(night)[:10],
                "chance_at_baseline": float(answer["coming_chance"].sel({n.NIGHT: night})),
                "dip_left_ln": json_interval(answer["coming_dip_ln"].sel({n.NIGHT: night})),
            }
            for night in answer[n.NIGHT].values
        ],
        "conditions": facts["conditions"],
        "common_practice": COMMON_PRACTICE,
    }
    if facts["basis"] == "priors":
        return found | {"rest_days_in_all": json_whole(answer["rest_days_in_all"])}
    return found | {
        "threshold_ln": float(answer["threshold_ln"]),
        "baseline_rmssd_ms": json_interval(answer["baseline_rmssd_ms"]),
        "plateau": {
            "flat_nights": int(answer["flat_nights"]),
            "reached": bool(answer["plateau_reached"]),
        },
        "past": [_morning(answer.sel({PAST: morning})) for morning in answer[PAST].values],
        "model_rule": MODEL_RULE,
        "plain_rule": PLAIN_RULE,
        "wanted": facts["wanted"],
    }


def _morning(row: xr.Dataset) -> dict[str, Any]:
    return {
        "date": str(row[PAST].values)[:10],
        "rmssd_ms": _known(row["rmssd_ms"]),
        "dip_left_ln": json_interval(row["dip_left_ln"]),
        "chance_flat": float(row["chance_flat"]),
        "rise_ln": _known(row["rise_ln"]),
    }


def _known(value: xr.DataArray) -> float | None:
    return None if math.isnan(float(value)) else float(value)
