"""What every answer carries: what it is about, how sure its intervals are, what to mind.

An answer is a frozen object of facts: intervals, numbers, names and dates as fields, tables of
numbers as xarray, and whatever else is to be said as a `Reason`, a code with its numbers. The
words for it are chosen in `slackwater.fitting.report`, and its JSON has its fields as they are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.intervals import Interval, check_level, interval
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model.errors import Reason
from slackwater.model.season import Season


@dataclass(frozen=True)
class About:
    """What an answer is about.

    Attributes:
        season: the season's name.
        last_night: the morning of the last reading that was used.
        level: credible mass of every interval.
        warnings: what to mind with the answer.
    """

    season: str
    last_night: np.datetime64
    level: float
    warnings: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Unexplained:
    """What holds readings down now, and the log does not explain.

    Attributes:
        since: the first morning on which it showed.
        percent: how far it moves a reading, below 0.
        nights: how many nights it has been there, read or not.
    """

    since: np.datetime64
    percent: Interval
    nights: int


@dataclass(frozen=True)
class Answer:
    """An answer to one question; each question's own adds its facts."""

    about: About


def about(now: Standing, level: float, warnings: Iterable[Reason] = ()) -> About:
    """Return what an answer from a state is about, with what to mind with the state.

    Args:
        now: the state.
        level: credible mass of every interval.
        warnings: what to mind with this answer beside that.

    Raises:
        QuestionError: the level is no credible mass.
    """
    check_level(level)
    return About(now.season.name, now.night, level, (*now.warnings, *warnings))


def unexplained(now: Standing, level: float) -> Unexplained | None:
    """Return what is unexplained on the morning of the last reading; None where nothing is."""
    found = now.unexplained
    if found is None:
        return None
    return Unexplained(found.since, interval(100 * np.expm1(found.draws), level), found.nights)


def about_season(season: Season, level: float, warnings: Iterable[Reason] = ()) -> About:
    """Return the same of an answer that rests on the log alone."""
    check_level(level)
    return About(season.name, season.last_night, level, tuple(warnings))


def readings_left_out(athlete: Athlete) -> list[Reason]:
    """Return the reason to mind where readings since the fit are left out."""
    newer = athlete.newer_readings
    return [Reason("readings left out", count=newer)] if newer else []
