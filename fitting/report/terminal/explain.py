"""What a reading is made of, as sentences and terminal text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.explain import (
    MEASURE,
    SENSOR,
    UNEXPLAINED,
    WEEKDAY,
    Explanation,
    ReadingPart,
)
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of
from slackwater.fitting.state.past import UNLOGGED
from slackwater.fitting.text import listed, weekday
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


def text(answer: Explanation) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    made_of = "What the reading of {} is made of" if answer.read else "What weighed on {}"
    yield heading_of(answer, made_of.format(answer.night))
    yield Text("  " + " ".join(sentences(answer)))
    yield _table(answer)
    small = [_name(part) for part in answer.parts if not part.counts]
    if small:
        yield Details(Text(f"Not shown, each within 1 %: {', '.join(small)}."))
    yield Terms(_MIND.format(likely=words.out_of_ten(answer.about.level)))


def sentences(answer: Explanation) -> list[str]:
    """Return what the answer says, a sentence each."""
    said = [_standing(answer), _what_weighs(answer)]
    return [*said, _noise(answer)] if answer.read else said


def how_often(share: float) -> str:
    """Return how often nights of a kind come: "about 1 night in 12"."""
    if share > 2 / 3:
        return "on most nights"
    if share < 0.001:
        return "less than 1 night in 1000"
    return f"about 1 night in {round(1 / share)}"


def _noise(answer: Explanation) -> str:
    percent = _percents(answer.parts[-1]).median
    if abs(percent) < _AT:
        return "Hardly anything is left over as noise."
    does = f"adds {percent:.0f} %" if percent > 0 else f"takes {-percent:.0f} % off"
    return (
        f"Noise, which is what is left over, {does}; noise at least as large, up or down, comes "
        f"{how_often(answer.noise_chance)}."
    )


def _standing(answer: Explanation) -> str:
    night, under = answer.night, answer.under_baseline_percent.median
    side = "under" if under > 0 else "over"
    gap = f"{abs(under):.0f} % {side}" if abs(under) >= _AT else "at"
    baseline = words.milliseconds(answer.baseline_rmssd_ms)
    if not answer.read:
        expected = words.milliseconds(answer.expected_rmssd_ms)
        return (
            f"There is no reading of {night}; {expected} was to be expected, {gap} your baseline "
            f"of {baseline}."
        )
    reading = f"{answer.reading_rmssd_ms:.0f} ms"
    this_morning = night == answer.about.last_night
    whose = f"This morning's {reading}" if this_morning else f"The {reading} of {night}"
    return f"{whose} is {gap} your baseline of {baseline}."


def _what_weighs(answer: Explanation) -> str:
    """Name what lowers the reading most, and say so where that is most of the gap."""
    named = [
        f"{_by_day(part, answer)} ({-_percents(part).median:.0f} %)"
        for part in answer.parts
        if part.weighs
    ][:_NAMED]
    if not named:
        return "Nothing that was logged weighs on it by 1 % or more."
    if not answer.most_of_it:
        return f"It is lowered by {listed(named)}."
    then = f", and then {listed(named[1:])}" if named[1:] else ""
    return f"Most of it is {named[0]}{then}."


def _by_day(part: ReadingPart, answer: Explanation) -> str:
    """Name a part with its day: "Tuesday's heavy lifting", or its date where longer ago."""
    if part.kind == UNEXPLAINED:
        return "what the log does not explain"
    if part.kind == UNLOGGED:
        return "what perhaps was not logged"
    if part.kind == WEEKDAY:
        return f"{part.label}s by themselves"
    if part.date is None:
        return f"the {_name(part)}"
    if answer.night - part.date < _WEEK:
        return f"{weekday(str(part.date))}'s {part.label}"
    return f"the {part.label} of {part.date}"


def _table(answer: Explanation) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("part", overflow="fold", min_width=8)
    table.add_column("date", no_wrap=True)
    for unit in ("%", "ms"):
        table.add_column(unit, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    low, middle, high = answer.baseline_rmssd_ms
    table.add_row("baseline", "", "", f"{middle:.0f} ({low:.0f} to {high:.0f})", "")
    parts = [part for part in answer.parts if part.counts]
    widest = max((abs(p) for part in parts for p in _percents(part)), default=1.0)
    for part in parts:
        percents = _percents(part)
        table.add_row(
            Text(_name(part)),
            "" if part.date is None else str(part.date),
            words.signed_range(percents, 0),
            words.signed_range(part.share_ms, 0),
            _bar(percents, widest),
        )
    if answer.read:
        table.add_row("reading", "", "", f"{answer.reading_rmssd_ms:.0f}", "")
    return table


def _bar(percents: Interval, widest: float) -> str:
    """Draw a share from a line to the left (it lowers the reading) or to the right."""
    low, middle, high = (_HALF_BAR + round(_HALF_BAR * p / widest) for p in percents)
    cells = [" "] * (2 * _HALF_BAR + 1)
    cells[low : high + 1] = _RANGE * (high + 1 - low)
    first, last = sorted((_HALF_BAR, middle))
    cells[first : last + 1] = _TO_MIDDLE * (last + 1 - first)
    cells[_HALF_BAR] = _ZERO
    return "".join(cells)


def _percents(part: ReadingPart) -> Interval:
    return Interval(*(-words.percent_off(-bound) for bound in part.share_ln))


def _name(part: ReadingPart) -> str:
    return {
        SENSOR: f"{part.label} (sensor)",
        MEASURE: f"{part.label} (by itself)",
        WEEKDAY: f"{part.label}s (by themselves)",
    }.get(part.kind, part.label)
