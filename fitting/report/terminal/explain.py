"""What a reading is made of, as sentences, terminal text and JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import expm1
from typing import Any, Final

import numpy as np
import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.explain import NEGLIGIBLE, NOISE, PART, SENSOR
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import heading_of, json_interval, json_number
from slackwater.fitting.spacing.wish import weekday
from slackwater.model.season import DAY

_AT: Final = 0.5  # percent; what stays under it rounds to nothing
_WEEK: Final = 7 * DAY
_NAMED: Final = 3  # parts named in the sentence
_HALF_BAR: Final = 5  # columns either side of no share
_TO_MIDDLE, _RANGE, _ZERO = "#-|"  # plain, for any terminal
_MIND: Final = (
    "Shares, in % and in ms, add up with baseline to the reading in each draw, so their middle "
    "values need not do so exactly. Bar: # up to the middle value, - over the range. Judged by "
    "all readings, those after that night too. Ranges hold {likely}."
)


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    made_of = "What the reading of {} is made of" if _is_read(answer) else "What weighed on {}"
    yield heading_of(answer, made_of.format(facts["night"]))
    yield Text("  " + " ".join(sentences(answer)))
    parts = list(_parts(answer))
    shown = [part for part in parts if counts(part)]
    yield _table(answer, shown)
    small = [_name(part) for part in parts if not counts(part)]
    if small:
        yield Text(f"Not shown, each within 1 %: {', '.join(small)}.")
    yield Text(_MIND.format(likely=words.out_of_ten(facts["level"])))


def sentences(answer: xr.Dataset) -> list[str]:
    """Return what the answer says, a sentence each."""
    said = [_standing(answer), *_what_weighs(answer)]
    return [*said, _noise(answer)] if _is_read(answer) else said


def how_often(share: float) -> str:
    """Return how often nights of a kind come: "about 1 night in 12"."""
    if share > 2 / 3:
        return "on most nights"
    if share < 0.001:
        return "less than 1 night in 1000"
    return f"about 1 night in {round(1 / share)}"


def _noise(answer: xr.Dataset) -> str:
    percent = _percents(answer.isel({PART: -1}))[1]
    if abs(percent) < _AT:
        return "Hardly anything is left over as noise."
    does = f"adds {percent:.0f} %" if percent > 0 else f"takes {-percent:.0f} % off"
    often = how_often(float(answer["noise_chance"]))
    return (
        f"Noise, which is what is left over, {does}; noise at least as large, up or down, comes "
        f"{often}."
    )


def _standing(answer: xr.Dataset) -> str:
    night, last = answer.attrs["night"], answer.attrs["last_night"]
    under = words.triple(answer["under_baseline_percent"])[1]
    side = "under" if under > 0 else "over"
    gap = f"{abs(under):.0f} % {side}" if abs(under) >= _AT else "at"
    baseline = words.milliseconds(answer["baseline_rmssd_ms"])
    if not _is_read(answer):
        expected = words.milliseconds(answer["expected_rmssd_ms"])
        return (
            f"There is no reading of {night}; {expected} was to be expected, {gap} your baseline "
            f"of {baseline}."
        )
    reading = f"{float(answer['reading_rmssd_ms']):.0f} ms"
    whose = f"This morning's {reading}" if night == last else f"The {reading} of {night}"
    return f"{whose} is {gap} your baseline of {baseline}."


def _what_weighs(answer: xr.Dataset) -> list[str]:
    """Name what lowers the reading most, and say so where that is most of the gap."""
    weighing = [p for p in _parts(answer) if _percents(p)[1] <= -1 and _kind(p) != NOISE]
    if not weighing:
        return ["Nothing that was logged weighs on it by 1 % or more."]
    named = [
        f"{_by_day(part, answer.attrs['night'])} ({-_percents(part)[1]:.0f} %)"
        for part in weighing[:_NAMED]
    ]
    under = words.triple(answer["under_baseline_percent"])[1]
    first = -_percents(weighing[0])[1]
    noise = abs(_percents(answer.isel({PART: -1}))[1]) if _is_read(answer) else 0.0
    if noise > under / 2 or not under / 2 <= first <= under + _AT:
        return [f"It is lowered by {_listed(named)}."]
    then = f", and then {_listed(named[1:])}" if named[1:] else ""
    return [f"Most of it is {named[0]}{then}."]


def _listed(told: list[str]) -> str:
    return " and ".join([", ".join(told[:-1]), *told[-1:]] if len(told) > 1 else told)


def _by_day(part: xr.Dataset, night: str) -> str:
    """Name a part with its day: "Tuesday's heavy lifting", or its date where longer ago."""
    label, date = _label(part), _date(part)
    if not date:
        return f"the {_name(part)}"
    day = np.datetime64(date)
    if np.datetime64(night) - day < _WEEK:
        return f"{weekday(day)}'s {label}"
    return f"the {label} of {date}"


def _table(answer: xr.Dataset, parts: list[xr.Dataset]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("part", overflow="fold", min_width=8)
    table.add_column("date", no_wrap=True)
    for unit in ("%", "ms"):
        table.add_column(unit, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    baseline = words.triple(answer["baseline_rmssd_ms"])
    table.add_row("baseline", "", "", _range(baseline), "")
    widest = max((abs(p) for part in parts for p in _percents(part)), default=1.0)
    for part in parts:
        percents = _percents(part)
        table.add_row(
            Text(_name(part)),
            _date(part),
            _range(percents, signed=True),
            _range(words.triple(part["share_ms"]), signed=True),
            _bar(percents, widest),
        )
    if _is_read(answer):
        table.add_row("reading", "", "", f"{float(answer['reading_rmssd_ms']):.0f}", "")
    return table


def _range(values: tuple[float, float, float], signed: bool = False) -> str:
    whole = [round(value) for value in values]
    low, middle, high = (f"{value:+d}" if signed and value else f"{value}" for value in whole)
    return f"{middle} ({low} to {high})"


def _bar(percents: tuple[float, float, float], widest: float) -> str:
    """Draw a share from a line to the left (it lowers the reading) or to the right."""
    low, middle, high = (_HALF_BAR + round(_HALF_BAR * p / widest) for p in percents)
    cells = [" "] * (2 * _HALF_BAR + 1)
    cells[low : high + 1] = _RANGE * (high + 1 - low)
    first, last = sorted((_HALF_BAR, middle))
    cells[first : last + 1] = _TO_MIDDLE * (last + 1 - first)
    cells[_HALF_BAR] = _ZERO
    return "".join(cells)


def _parts(answer: xr.Dataset) -> Iterator[xr.Dataset]:
    for i in range(answer.sizes[PART]):
        yield answer.isel({PART: i})


def counts(part: xr.Dataset) -> bool:
    """Say whether a part comes to anything; the noise always does."""
    return _kind(part) == NOISE or max(map(abs, _percents(part))) >= 100 * NEGLIGIBLE


def _is_read(answer: xr.Dataset) -> bool:
    return json_number(answer["reading_rmssd_ms"]) is not None


def _percents(part: xr.Dataset) -> tuple[float, float, float]:
    low, middle, high = (100 * expm1(share) for share in words.triple(part["share_ln"]))
    return low, middle, high


def _kind(part: xr.Dataset) -> str:
    return str(part["part_kind"].values)


def _label(part: xr.Dataset) -> str:
    return str(part["part_label"].values)


def _date(part: xr.Dataset) -> str:
    return str(part["part_date"].values)


def _name(part: xr.Dataset) -> str:
    return f"{_label(part)} (sensor)" if _kind(part) == SENSOR else _label(part)


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    intervals = ("baseline_rmssd_ms", "expected_rmssd_ms", "under_baseline_percent")
    return {
        "night": answer.attrs["night"],
        "reading_rmssd_ms": json_number(answer["reading_rmssd_ms"]),
        **{key: json_interval(answer[key]) for key in intervals},
        "noise_chance": json_number(answer["noise_chance"]),
        "parts": [
            {
                "kind": _kind(part),
                "label": _label(part),
                "date": _date(part) or None,
                "share_ln": json_interval(part["share_ln"]),
                "share_ms": json_interval(part["share_ms"]),
            }
            for part in _parts(answer)
        ],
        "share_rule": answer.attrs["share_rule"],
        "older_rule": answer.attrs["older_rule"],
    }
