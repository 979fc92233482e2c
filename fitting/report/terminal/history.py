"""Baseline and recovery over the whole history, as terminal text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import xarray as xr
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.history import FEWEST_SESSIONS, KIND, QUARTER, RECOVERY_RULE
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.drawing import Scale
from slackwater.fitting.report.terminal.pieces import json_interval, new_table
from slackwater.model import names as n

_CHANGES: Final = ("change_percent", "drift_alone_percent")
_BAR: Final = 45  # columns of the picture for bars
_THEN: Final = ("dip_then_percent", "half_life_then_percent")
_CHANCES_THEN: Final = ("chance_deeper_then", "chance_slower_then")
_FIXED: Final = (
    "The fit holds each type's dip and recovery rate constant over the season: sessions that came "
    "to cost more are in part taken for a lower baseline."
)
_CHANGING: Final = (
    "In a season of a year and more the fit lets recovery as a whole change slowly; every other "
    "answer is about recovery as it is now."
)
_CHANCES: Final = ("chance_rose", "chance_drift_as_large")


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    title = f"Baseline over time, up to {facts['last_night']}"
    yield Text.assemble((f"{facts['season']}: ", "dim"), (title, "bold"))
    quarters = facts["quarters"]
    told = {quarters[i]["quarter"]: i for i in (0, len(quarters) - 1)}
    means = [f"{_mean(answer, i)} in {name}" for name, i in told.items()]
    yield Text(f"  Baseline was {', and '.join(means)}.")
    yield _by_quarter(answer)
    if len(quarters) > 1:
        yield _picture(answer)
    yield from _sensors(answer)
    if facts["habit"] is not None:
        yield from _habit(answer)
    yield from _recovery(answer)
    thinned = facts["draws_used"] < facts["draws_in_all"]
    share = f", from {facts['draws_used']} of {facts['draws_in_all']} draws" if thinned else ""
    yield Text(
        "Change: against the quarter before, with the chance that it rose. Drift alone, in %: "
        "what the slow drift of baseline, as learnt from these readings, makes between such "
        "stretches by itself; a change of that size needs no other reason. "
        f"{_CHANGING if facts['recovery']['half_years'] else _FIXED} "
        f"Ranges hold {words.out_of_ten(facts['level'])}{share}."
    )


def _mean(answer: xr.Dataset, position: int) -> str:
    return words.milliseconds(answer["baseline_rmssd_ms"].isel({QUARTER: position}))


def _by_quarter(answer: xr.Dataset) -> Table:
    table = new_table("quarter", "read", "baseline", "change, %", "drift alone", "it rose")
    for i, quarter in enumerate(answer.attrs["quarters"]):
        row = answer.isel({QUARTER: i})
        changed = i > 0
        table.add_row(
            quarter["quarter"],
            str(quarter["nights_read"]),
            _mean(answer, i),
            _span(row["change_percent"]) if changed else "",
            _ends(row["drift_alone_percent"]) if changed else "",
            words.chance(float(row["chance_rose"])) if changed else "",
        )
    return table


def _picture(answer: xr.Dataset) -> Table:
    means = [answer["baseline_rmssd_ms"].isel({QUARTER: i}) for i in range(answer.sizes[QUARTER])]
    scale = Scale.over(means, _BAR)
    table = new_table("quarter", scale.ends("ms"), "baseline")
    for quarter, mean in zip(answer.attrs["quarters"], means, strict=True):
        table.add_row(quarter["quarter"], scale.bar(mean), words.milliseconds(mean))
    return table


def _sensors(answer: xr.Dataset) -> Iterator[RenderableType]:
    sensors = answer.attrs["sensors"]
    if len(sensors) == 1:
        return
    latest = next(s["sensor"] for s in sensors if s["reference"])
    yield Text(f"Sensors; baseline is always on the scale of {latest}:", style="bold")
    table = new_table("sensor", "readings", "from", "to", "reads more than the latest")
    for sensor in sensors:
        step = "" if sensor["reference"] else _span(_step(answer, sensor["sensor"]), " %")
        read, first, last = str(sensor["nights_read"]), sensor["first"], sensor["last"]
        table.add_row(Text(sensor["sensor"]), read, first, last, step)
    yield table


def _step(answer: xr.Dataset, sensor: str) -> xr.DataArray:
    return answer["sensor_step_percent"].sel({n.OTHER_SENSOR: sensor})


def _habit(answer: xr.Dataset) -> Iterator[RenderableType]:
    habit = answer.attrs["habit"]
    yield Text(f"Since {habit['since']}:", style="bold")
    yield Text(
        f"  Baseline changed by {_span(answer['habit_change_ms'], ' ms')}, that is "
        f"{_span(answer['habit_change_percent'], ' %')}; the chance that it rose is "
        f"{words.chance(float(answer['habit_chance_rose']))}."
    )
    yield Text(
        "  Drift alone makes "
        f"{_ends(answer['habit_drift_alone_percent'])} % over such stretches; the "
        "chance that it moves baseline as far as this, up or down, is "
        f"{words.chance(float(answer['habit_chance_drift_as_large']))}."
    )
    table = new_table("logged", *(f"{h['first']} to {h['last']}" for h in _sides(habit)))
    table.add_row("nights read", *(f"{h['nights_read']} of {h['nights']}" for h in _sides(habit)))
    for row in habit["meanwhile"]:
        table.add_row(Text(row["what"]), str(row["before"]), str(row["after"]))
    yield table
    yield Text(
        "This does not say that the habit did it: many things change at once, those above and "
        "others that no log holds (time of year, work, sleep, fitness). A measure that can be "
        "switched on and off by lot, week by week, can be judged; a habit that stays cannot."
    )


def _sides(habit: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    return habit["before"], habit["after"]


def _recovery(answer: xr.Dataset) -> Iterator[RenderableType]:
    facts = answer.attrs["recovery"]
    if facts["half_years"]:
        yield from _recovery_then(answer)
        return
    since = facts["later_from"]
    yield Text(f"Did sessions change (from {since} on, against before)?", style="bold")
    if not facts["kinds"]:
        yield Text(f"  Cannot say: no type has {FEWEST_SESSIONS} sessions in either half.")
        return
    shown = [i for i in range(len(facts["kinds"])) if bool(answer["shown"].isel({KIND: i}))]
    for i in shown:
        change = answer["dip_change_percent"].isel({KIND: i})
        how = "deeper" if float(change.sel(bound="median")) > 0 else "less deep"
        yield Text(
            f"  {facts['kinds'][i]['kind']}: dips {how} in the later half, by "
            f"{_span(change, ' %')}."
        )
    if not shown:
        yield Text("  Not that the readings could tell.")
    yield Text(f"  {RECOVERY_RULE[0].upper()}{RECOVERY_RULE[1:]}.")


def _recovery_then(answer: xr.Dataset) -> Iterator[RenderableType]:
    yield Text("How sessions were before, all types together, against now:", style="bold")
    table = new_table("on", "dip, %", "deeper then", "half-life, %", "slower then")
    for i, half_year in enumerate(answer.attrs["recovery"]["half_years"]):
        row = answer.isel({n.HALF_YEAR: i})
        spans = [_span(row[key]) for key in _THEN]
        chances = [words.chance(float(row[key])) for key in _CHANCES_THEN]
        table.add_row(half_year["night"], spans[0], chances[0], spans[1], chances[1])
    yield table


def _span(values: xr.DataArray, unit: str = "") -> str:
    return f"{_signed(words.triple(values)[1])}{unit} ({_ends(values)})"


def _ends(values: xr.DataArray) -> str:
    low, _, high = words.triple(values)
    return f"{_signed(low)} to {_signed(high)}"


def _signed(value: float) -> str:
    return f"{round(value):+d}"  # an integer has no minus zero


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    facts = answer.attrs
    return {
        "quarters": [
            {
                **quarter,
                "baseline_rmssd_ms": json_interval(answer["baseline_rmssd_ms"].isel({QUARTER: i})),
                **(_change(answer.isel({QUARTER: i})) if i else dict.fromkeys(_CHANGES + _CHANCES)),
            }
            for i, quarter in enumerate(facts["quarters"])
        ],
        "sensors": [
            sensor
            if sensor["reference"]
            else sensor | {"step_percent": json_interval(_step(answer, sensor["sensor"]))}
            for sensor in facts["sensors"]
        ],
        "habit": facts["habit"] and _habit_body(answer),
        "recovery": {
            "later_from": facts["recovery"]["later_from"],
            "rule": RECOVERY_RULE,
            "types": [
                {**kind, **_kind(answer.isel({KIND: i}))}
                for i, kind in enumerate(facts["recovery"]["kinds"])
            ],
            "half_years": [
                {**half_year, **_then(answer.isel({n.HALF_YEAR: i}))}
                for i, half_year in enumerate(facts["recovery"]["half_years"])
            ],
        },
        "draws_used": facts["draws_used"],
        "draws_in_all": facts["draws_in_all"],
    }


def _change(row: xr.Dataset, prefix: str = "") -> dict[str, Any]:
    return {
        **{key: json_interval(row[prefix + key]) for key in _CHANGES},
        **{key: float(row[prefix + key]) for key in _CHANCES},
    }


def _habit_body(answer: xr.Dataset) -> dict[str, Any]:
    change_ms = json_interval(answer["habit_change_ms"])
    return {**answer.attrs["habit"], "change_ms": change_ms, **_change(answer, "habit_")}


def _then(row: xr.Dataset) -> dict[str, Any]:
    return {
        **{key: json_interval(row[key]) for key in _THEN},
        **{key: float(row[key]) for key in _CHANCES_THEN},
    }


def _kind(row: xr.Dataset) -> dict[str, Any]:
    return {
        "dip_change_percent": json_interval(row["dip_change_percent"]),
        "chance_deeper": float(row["chance_deeper"]),
        "shown": bool(row["shown"]),
    }
