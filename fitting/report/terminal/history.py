"""Baseline and recovery over the whole history, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.history import (
    FEWEST_IN_A_HALF,
    Habit,
    History,
    Quarter,
    RecoveryOverTime,
    SensorUse,
)
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.answers.recovery_trend import HalfYear
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.drawing import Scale
from slackwater.fitting.report.terminal.pieces import Terms, heading_of, new_table

_BAR: Final = 45  # columns of the picture for bars
_FIXED: Final = (
    "The fit holds each type's dip and recovery rate constant over the season: sessions that came "
    "to cost more are in part taken for a lower baseline."
)
_CHANGING: Final = (
    "In a season of more than half a year the fit lets recovery as a whole change slowly; every "
    "other answer is about recovery as it is now."
)


def text(answer: History) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"Baseline over time, up to {answer.about.last_night}")
    quarters = answer.quarters
    told = {quarter.quarter: quarter for quarter in (quarters[0], quarters[-1])}
    means = [f"{words.milliseconds(q.baseline_rmssd_ms)} in {name}" for name, q in told.items()]
    yield Text(f"  Baseline was {', and '.join(means)}.")
    yield _by_quarter(quarters)
    if len(quarters) > 1:
        yield _picture(quarters)
    if len(answer.sensors) > 1:
        yield from _sensors(answer.sensors)
    if answer.habit is not None:
        yield from _habit(answer.habit)
    yield from _recovery(answer.recovery)
    thinned = answer.draws_used < answer.draws_in_all
    share = f", from {answer.draws_used} of {answer.draws_in_all} draws" if thinned else ""
    yield Terms(
        "Change: against the quarter before, with the chance that it rose. Drift alone, in %: "
        "what the slow drift of baseline, as learnt from these readings, makes between such "
        "stretches by itself; a change of that size needs no other reason. "
        f"{_CHANGING if answer.recovery.half_years else _FIXED} "
        f"Ranges hold {words.out_of_ten(answer.about.level)}{share}."
    )


def _by_quarter(quarters: Sequence[Quarter]) -> Table:
    table = new_table("quarter", "read", "baseline", "change, %", "drift alone", "it rose")
    for quarter in quarters:
        rose = quarter.chance_rose
        table.add_row(
            quarter.quarter,
            str(quarter.nights_read),
            words.milliseconds(quarter.baseline_rmssd_ms),
            _span(quarter.change_percent),
            _ends(quarter.drift_alone_percent),
            "" if rose is None else words.chance(rose),
        )
    return table


def _picture(quarters: Sequence[Quarter]) -> Table:
    means = [quarter.baseline_rmssd_ms for quarter in quarters]
    scale = Scale.over(means, _BAR)
    table = new_table("quarter", scale.ends("ms"), "baseline")
    for quarter, mean in zip(quarters, means, strict=True):
        table.add_row(quarter.quarter, scale.bar(mean), words.milliseconds(mean))
    return table


def _sensors(sensors: Sequence[SensorUse]) -> Iterator[RenderableType]:
    latest = next(use.sensor for use in sensors if use.reference)
    yield Text(f"Sensors; baseline is always on the scale of {latest}:", style="bold")
    table = new_table("sensor", "readings", "from", "to", "reads more than the latest")
    for use in sensors:
        table.add_row(
            Text(use.sensor),
            str(use.nights_read),
            str(use.first),
            str(use.last),
            _span(use.step_percent, " %"),
        )
    yield table


def _habit(habit: Habit) -> Iterator[RenderableType]:
    yield Text(f"Since {habit.since}:", style="bold")
    yield Text(
        f"  Baseline changed by {_span(habit.change_ms, ' ms')}, that is "
        f"{_span(habit.change_percent, ' %')}; the chance that it rose is "
        f"{words.chance(habit.chance_rose)}."
    )
    yield Text(
        f"  Drift alone makes {_ends(habit.drift_alone_percent)} % over such stretches; the "
        "chance that it moves baseline as far as this, up or down, is "
        f"{words.chance(habit.chance_drift_as_large)}."
    )
    sides = (habit.before, habit.after)
    table = new_table("logged", *(f"{side.first} to {side.last}" for side in sides))
    table.add_row("nights read", *(f"{side.nights_read} of {side.nights}" for side in sides))
    for row in habit.meanwhile:
        table.add_row(Text(sentence(row.what)), str(row.before), str(row.after))
    yield table
    yield Text(
        "This does not say that the habit did it: many things change at once, those above and "
        "others that no log holds (time of year, work, sleep, fitness). A measure that can be "
        "switched on and off by lot, week by week, can be judged; a habit that stays cannot."
    )


def _recovery(recovery: RecoveryOverTime) -> Iterator[RenderableType]:
    if recovery.half_years:
        yield from _recovery_then(recovery.half_years)
        return
    since = recovery.later_from
    yield Text(f"Did sessions change (from {since} on, against before)?", style="bold")
    if not recovery.types:
        yield Text(f"  Cannot say: no type has {FEWEST_IN_A_HALF} sessions in either half.")
        return
    shown = [change for change in recovery.types if change.shown]
    for change in shown:
        yield Text(
            f"  {change.kind}: dips {change.direction} in the later half, by "
            f"{_span(change.dip_change_percent, ' %')}."
        )
    if not shown:
        yield Text("  Not that the readings could tell.")
    yield Terms(f"  {words.sentence(sentence(recovery.rule))}")


def _recovery_then(half_years: Sequence[HalfYear]) -> Iterator[RenderableType]:
    yield Text("How sessions were before, all types together, against now:", style="bold")
    table = new_table("on", "dip, %", "deeper then", "half-life, %", "slower then")
    for then in half_years:
        table.add_row(
            str(then.night),
            _span(then.dip_then_percent),
            words.chance(then.chance_deeper_then),
            _span(then.half_life_then_percent),
            words.chance(then.chance_slower_then),
        )
    yield table


def _span(values: Interval | None, unit: str = "") -> str:
    """Return an interval of changes, nothing where there is none."""
    return words.signed_range(values, 0, unit) if values else ""


def _ends(values: Interval | None) -> str:
    return words.signed_ends(values, 0) if values else ""
