"""What looks at residuals found, as facts: a number beside what the model says of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, expm1
from typing import Any, Final

import numpy as np

from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.describing.scores import FALSE_ALARMS, Score, bound_of, chance_of, within

GROUPS: Final = 9  # of looks, which share the false alarms evenly


@dataclass(frozen=True, kw_only=True)
class Look:
    """One look at the residuals.

    Attributes:
        z: how unlikely what it found is, as a standard normal number.
        chance: that any look at a season that the model describes finds as much.
        departs: whether that is more than chance.
    """

    z: float
    chance: float
    departs: bool


@dataclass(frozen=True, kw_only=True)
class Held(Look):
    """One number, held against what the model says of it.

    Attributes:
        value: mean over the posterior, and its interval over seasons alike.
        by_chance: what the model says, and how far off chance alone leads: of 20 seasons that the
            model describes, 1 has any number outside such a range.
    """

    value: Interval
    by_chance: Interval


@dataclass(frozen=True, kw_only=True)
class OnWeekday(Held):
    """How readings of a weekday's morning lie, percent of what the model says.

    Attributes:
        weekday: "Monday" to "Sunday", or "weekend" for Saturday and Sunday together.
        readings: how many there are.
    """

    weekday: str
    readings: int


@dataclass(frozen=True, kw_only=True)
class AfterSession(Held):
    """How readings lie so many nights after a session, percent of what the model says.

    Attributes:
        first_night: of those meant; 1 is the first that can show the session.
        last_night: the last of them; None for all later ones.
        readings: how many there are.
        type: of the session; None for any.
    """

    first_night: int
    last_night: int | None
    readings: int
    type: str | None = None


@dataclass(frozen=True, kw_only=True)
class Night(Look):
    """The most unlikely night, or the first of the most unlikely few.

    Attributes:
        date: its morning.
    """

    date: np.datetime64


@dataclass(frozen=True, kw_only=True)
class Sides(Look):
    """Nights far off what the model says, on either side.

    Attributes:
        low: how many lie far below.
        high: how many lie far above.
    """

    low: int
    high: int


def looked(score: Score, cells: int = 1, two_sided: bool = True) -> dict[str, Any]:
    """Return the fields of a `Look`.

    Args:
        score: what was found.
        cells: how many looks its group has.
        two_sided: whether both directions count, or above 0 alone.
    """
    chance = chance_of(score.z, GROUPS * cells, two_sided)
    return {"z": score.z, "chance": chance, "departs": chance < FALSE_ALARMS}


def held(
    score: Score, level: float, turned: Callable[[float], float], model: float = 0.0, cells: int = 1
) -> dict[str, Any]:
    """Return the fields of a `Held`.

    Args:
        score: what was found.
        level: mass of the estimate's interval.
        turned: from the score's unit to that of the number; it grows.
        model: what the model says, in the score's unit.
        cells: how many looks its group has.
    """

    def around(middle: float, half: float) -> Interval:
        return Interval(*(turned(middle + side * half) for side in (-1, 0, 1)))

    return looked(score, cells) | {
        "value": around(model + score.z * score.sd, within(level) * score.sd),
        "by_chance": around(model, bound_of(GROUPS * cells) * score.sd),
    }


def percent(ln: float) -> float:
    """Return a difference of logarithms in percent."""
    return 100 * expm1(ln)


def correlation(value: float) -> float:
    """Return an autocorrelation as what one can be."""
    return min(1.0, max(-1.0, value))


ratio: Final = exp
