"""Baseline and recovery over all that was fitted: by quarter, sensor, habit and half."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about, readings_left_out
from slackwater.fitting.answers.intervals import CLEARLY, DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.answers.recovery_trend import HalfYear, has_trend, recovery_then
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import Past
from slackwater.model import names as n
from slackwater.model.design import other_sensors
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.season import DAY, Season

ALL_TYPES: Final = "all types together"
FEWEST_ON_A_SIDE: Final = 14  # readings before a habit, and as many with it
FEWEST_IN_A_HALF: Final = 4  # sessions of a type
DIP_CHANGE_SD: Final = 0.3  # ln, believed beforehand: a third either way; a reason, no source


@dataclass(frozen=True)
class Stretch:
    """Some nights in a row.

    Attributes:
        first: the first of them.
        last: the last.
        nights: how many.
        nights_read: how many of them were read.
    """

    first: np.datetime64
    last: np.datetime64
    nights: int
    nights_read: int


@dataclass(frozen=True)
class Quarter(Stretch):
    """A quarter of the calendar; against the one before, if there is one.

    Attributes:
        quarter: its name.
        baseline_rmssd_ms: mean baseline over its nights.
        change_percent: its change.
        drift_alone_percent: what drift makes between such stretches by itself.
        chance_rose: the chance that baseline rose.
        chance_drift_as_large: the chance that drift alone moves it as far, up or down.
    """

    quarter: str
    baseline_rmssd_ms: Interval
    change_percent: Interval | None = None
    drift_alone_percent: Interval | None = None
    chance_rose: float | None = None
    chance_drift_as_large: float | None = None


@dataclass(frozen=True)
class SensorUse(Stretch):
    """The readings of one sensor.

    Attributes:
        sensor: the sensor.
        reference: whether baseline is on its scale.
        step_percent: what it reads more than the reference; None for that itself.
    """

    sensor: str
    reference: bool
    step_percent: Interval | None


@dataclass(frozen=True)
class Logged:
    """Something else that was logged.

    Attributes:
        what: sessions of a type, days of a stressor, and so on.
        before: how often before the habit.
        after: how often with it.
    """

    what: Reason
    before: int
    after: int


@dataclass(frozen=True)
class Habit:
    """Mean baseline with a habit, against the same length before.

    Attributes:
        since: the day from which it was kept; its first night is the one that follows.
        before: the nights before.
        after: the nights with it.
        meanwhile: what else was logged on either side.
        change_ms: the change of mean baseline.
        change_percent: the same in percent; this and what follows as in `Quarter`.
    """

    since: np.datetime64
    before: Stretch
    after: Stretch
    meanwhile: tuple[Logged, ...]
    change_ms: Interval
    change_percent: Interval
    drift_alone_percent: Interval
    chance_rose: float
    chance_drift_as_large: float


@dataclass(frozen=True)
class ChangeOfDips:
    """How much deeper sessions of the later half of the season dip.

    Attributes:
        kind: a session type, or all of them together.
        earlier: sessions in the earlier half.
        later: in the later.
        dip_change_percent: later over earlier, at the same dose.
        chance_deeper: the chance that the later dip deeper.
        direction: "deeper" or "less deep", by the middle estimate.
        shown: whether it is clear enough to be told.
    """

    kind: str
    earlier: int
    later: int
    dip_change_percent: Interval
    chance_deeper: float
    direction: str
    shown: bool


@dataclass(frozen=True)
class RecoveryOverTime:
    """Whether recovery changed.

    Attributes:
        later_from: the first day of the later half.
        rule: when a change is told.
        types: all types together, then each with enough sessions; none where the fit lets
            recovery change.
        half_years: in its place, recovery at each half year back.
    """

    later_from: np.datetime64
    rule: Reason
    types: tuple[ChangeOfDips, ...]
    half_years: tuple[HalfYear, ...]


@dataclass(frozen=True)
class History(Answer):
    """Baseline and recovery over all that was fitted.

    Attributes:
        quarters: baseline by quarter; on the scale of the latest sensor fitted.
        sensors: the sensors, in the order in which they came into use.
        habit: baseline since the day that was asked about; None where none was.
        recovery: whether recovery changed.
        draws_used: posterior draws that it rests on.
        draws_in_all: posterior draws that there are.
    """

    quarters: tuple[Quarter, ...]
    sensors: tuple[SensorUse, ...]
    habit: Habit | None
    recovery: RecoveryOverTime
    draws_used: int
    draws_in_all: int


def history(
    athlete: Athlete,
    since: np.datetime64 | None = None,
    level: float = DEFAULT_LEVEL,
) -> History:
    """Answer how baseline and recovery went over all that was fitted.

    Readings since the fit are left out.

    Args:
        athlete: the season and what was learnt of it.
        since: the day from which a habit was kept; its first night is the one that follows.
        level: credible mass of every interval.

    Raises:
        QuestionError: `since` lies outside the fitted nights.
        NoAnswerError: the fit is not to be trusted, the past was edited since, or there are too
            few nights before or after `since`.
    """
    meant = about(athlete.as_fitted, level, readings_left_out(athlete))
    past = athlete.past_as_fitted
    rng = past.rng()
    quarters = _quarters(past, level, rng)
    recovery = _recovery(past, level, rng)
    if any(change.shown for change in recovery.types):
        meant = replace(meant, warnings=(*meant.warnings, Reason("sessions changed")))
    return History(
        meant,
        quarters=quarters,
        sensors=_sensors(past, level),
        habit=None if since is None else _habit(past, since, level, rng),
        recovery=recovery,
        draws_used=past.draws.sizes["sample"],
        draws_in_all=athlete.posterior.draws.sizes["sample"],
    )


def _change(
    past: Past,
    before: NDArray[np.bool_],
    after: NDArray[np.bool_],
    level: float,
    rng: np.random.Generator,
) -> dict[str, Any]:
    """Return how far the mean baseline over some nights lies above that over some before.

    By the names that `Quarter` and `Habit` have it under. Beside it stands one change that each
    draw's drift would make by itself.
    """
    weight = after / after.sum() - before / before.sum()
    later = np.cumsum(weight[::-1])[::-1]  # what the step into each night moves
    moved = past.level @ weight
    sd = past.draws[n.DRIFT_SD].values * np.sqrt((later[1:] ** 2).sum())
    alone = sd * rng.standard_normal(len(sd))
    return {
        "change_percent": interval(100 * np.expm1(moved), level),
        "drift_alone_percent": interval(100 * np.expm1(alone), level),
        "chance_rose": float((moved > 0).mean()),
        "chance_drift_as_large": float((np.abs(alone) >= np.abs(moved)).mean()),
    }


def _quarters(past: Past, level: float, rng: np.random.Generator) -> tuple[Quarter, ...]:
    season = past.season
    numbers = season.nights.astype("datetime64[M]").astype(int) // 3
    numbers[: past.first_read] = -1
    each = [numbers == number for number in np.unique(numbers[past.first_read :])]
    changes = [_change(past, *pair, level, rng) for pair in pairwise(each)]
    return tuple(
        Quarter(
            **vars(_stretch(season, mine)),
            quarter=_named(season.nights[mine][0]),
            baseline_rmssd_ms=interval(np.exp(past.level[:, mine].mean(axis=1)), level),
            **change,
        )
        for mine, change in zip(each, [{}, *changes], strict=True)
    )


def _named(night: np.datetime64) -> str:
    year, quarter = divmod(int(night.astype("datetime64[M]").astype(int)) // 3, 4)
    return f"{1970 + year} Q{quarter + 1}"


def _stretch(season: Season, mine: NDArray[np.bool_]) -> Stretch:
    nights = season.nights[mine]
    return Stretch(nights[0], nights[-1], len(nights), int(season.read[mine].sum()))


def _sensors(past: Past, level: float) -> tuple[SensorUse, ...]:
    season = past.season
    by = season.data[n.NIGHT_SENSOR].values
    others = other_sensors(season)
    steps = {
        name: interval(100 * np.expm1(past.draws[n.SENSOR_STEP].values[:, column]), level)
        for column, name in enumerate(others)
    }
    return tuple(
        SensorUse(
            **vars(_stretch(season, season.read & (by == code))),
            sensor=name,
            reference=name not in others,
            step_percent=steps.get(name),
        )
        for code, name in enumerate(season.sensors)
    )


def _recovery(past: Past, level: float, rng: np.random.Generator) -> RecoveryOverTime:
    middle = len(past.season.nights) // 2
    return RecoveryOverTime(
        later_from=past.season.nights[middle],
        rule=Reason("change of dips told", chance=CLEARLY),
        types=_changes_of_dips(past, middle, level, rng),
        half_years=recovery_then(past, level),
    )


def _changes_of_dips(
    past: Past, middle: int, level: float, rng: np.random.Generator
) -> tuple[ChangeOfDips, ...]:
    """Return how much deeper the later half's sessions dip than the earlier half's."""
    if n.SESSION_Z not in past.draws or has_trend(past):
        return ()
    season = past.season
    types = season.data[n.SESSION_TYPE].values
    later = season.session_nights() >= middle
    contrast = later.astype(float)
    for label in season.types:
        contrast[types == label] -= later[types == label].mean()
    found = []
    for kind in (ALL_TYPES, *season.types):
        mine = np.ones(len(types), bool) if kind == ALL_TYPES else types == kind
        counts = int((mine & ~later).sum()), int((mine & later).sum())
        if min(counts) < FEWEST_IN_A_HALF:
            continue
        change = _change_of_dips(past, np.where(mine, contrast, 0.0), rng)
        percent, deeper = interval(100 * np.expm1(change), level), float((change > 0).mean())
        found.append(
            ChangeOfDips(
                kind,
                *counts,
                dip_change_percent=percent,
                chance_deeper=deeper,
                direction="deeper" if percent.median > 0 else "less deep",
                shown=max(deeper, 1 - deeper) >= CLEARLY,
            )
        )
    return tuple(found)


def _change_of_dips(past: Past, contrast: Floats, rng: np.random.Generator) -> Floats:
    """Return draws of a change of log dip that goes with a contrast between sessions, (S,).

    A change c moves a session's z by c / session_sd times its contrast. The fit knows of no such
    change, but its draws of T = contrast . z tell how likely each c makes the readings: with the
    draws weighed by exp(c T / sd - (c / sd)^2 S / 2), S = contrast . contrast, and T normal over
    them, the likelihood of c / sd has the precision S - var(T), which is what the readings say of
    T beyond its prior, and its mean is mean(T) over that.
    """
    scatter = past.draws[n.SESSION_SD].values
    told = past.draws[n.SESSION_Z].values @ contrast
    learnt = max(0.0, float(contrast @ contrast - told.var()))
    precision = learnt + (scatter / DIP_CHANGE_SD) ** 2
    noise = rng.standard_normal(len(scatter))
    return np.asarray(scatter * (told.mean() / precision + noise / np.sqrt(precision)))


def _habit(past: Past, since: np.datetime64, level: float, rng: np.random.Generator) -> Habit:
    """Return the change of baseline with a habit, over the same length before and after."""
    season, nights = past.season, past.season.nights
    first = int((since + DAY - nights[0]) / DAY)  # the night that can show it
    if not past.first_read < first < len(nights):
        raise QuestionError(
            f"{since} lies outside what was fitted; give a day from {nights[past.first_read]} to "
            f"{nights[-1] - DAY}."
        )
    length = min(first - past.first_read, len(nights) - first)
    index = np.arange(len(nights))
    before = (index >= first - length) & (index < first)
    after = (index >= first) & (index < first + length)
    fewest = min(int((season.read & side).sum()) for side in (before, after))
    if fewest < FEWEST_ON_A_SIDE:
        facts = {"readings": fewest, "needed": FEWEST_ON_A_SIDE}
        raise NoAnswerError(Reason("too few readings on a side", day=str(since), **facts))
    change = _change(past, before, after, level, rng)
    ms = (np.exp(past.level[:, side].mean(axis=1)) for side in (after, before))
    return Habit(
        since=since,
        before=_stretch(season, before),
        after=_stretch(season, after),
        meanwhile=_meanwhile(season, before, after),
        change_ms=interval(np.subtract(*ms), level),
        **change,
    )


def _meanwhile(
    season: Season, before: NDArray[np.bool_], after: NDArray[np.bool_]
) -> tuple[Logged, ...]:
    """Return what else was logged on either side: sessions, stressor days, measures, sensors."""
    data, count = season.data, len(season.nights)

    def felt(nights: NDArray[np.int64], labels: NDArray[np.str_], label: str) -> NDArray[Any]:
        return np.bincount(nights[labels == label], minlength=count)

    done, days = season.session_nights(), season.stressor_nights()
    applied, by = season.applied(), np.where(season.read, data[n.NIGHT_SENSOR].values, -1)
    types, stressors = data[n.SESSION_TYPE].values, data[n.STRESSOR_LABEL].values
    each = [
        *((Reason("sessions of a type", label=t), felt(done, types, t)) for t in season.types),
        *(
            (Reason("days of a stressor", label=s), felt(days, stressors, s))
            for s in season.stressors
        ),
        *(
            (Reason("nights with a measure", label=i), applied[j])
            for j, i in enumerate(season.interventions)
        ),
        *(
            (Reason("readings by a sensor", label=s), by == code)
            for code, s in enumerate(season.sensors)
        ),
    ]
    return tuple(
        Logged(what, int(how_often[before].sum()), int(how_often[after].sum()))
        for what, how_often in each
    )
