"""The kinds of made season: what each does that others do not.

Scales that no kind sets are drawn for each season from ranges wider than any belief the model
starts from: log-uniform, with a standard deviation of the logarithm about 1.3 times the prior's.
`MEDIANS` are the scales that every season had once: with them the kinds of `FIRST_KINDS` are,
seed by seed, the seasons of earlier studies.

The kinds after those share their random numbers with "as modelled": one seed is one athlete, one
log and one sequence of luck in all of them, so that kinds can be compared season by season.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

AS_MODELLED = "as modelled"
SPEEDS_UP = "a measure that speeds recovery by half"
DOES_NOTHING = "a measure that does nothing"


class Scales(NamedTuple):
    """What an athlete's seasons vary by.

    Attributes:
        scatter: SD of the log of a session's dip within its type.
        drift: baseline's SD per night, ln.
        tail: SD of a night's log noise variance.
        degrees: degrees of freedom where the noise is Student's t.
        start: unlogged dip of the first night, ln; None: between 0.05 and 0.3.
        start_half_life: days.
    """

    scatter: float = 0.25
    drift: float = 0.008
    tail: float = 0.5
    degrees: float = 4.0
    start: float | None = None
    start_half_life: float = 2.5


MEDIANS = Scales()
RANGES = {
    "scatter": (0.08, 0.8),
    "drift": (0.002, 0.035),
    "tail": (0.15, 1.5),
    "degrees": (3.0, 10.0),
    "start": (0.01, 0.8),
    "start_half_life": (0.9, 7.0),
}
TIRED = {"start": (0.3, 0.8), "start_half_life": (3.0, 8.0)}


def draw_scales(rng: np.random.Generator, tired: bool = False) -> Scales:
    """Draw every scale from its range, log-uniform."""
    ranges = RANGES | (TIRED if tired else {})
    bounds = {name: (math.log(low), math.log(high)) for name, (low, high) in ranges.items()}
    return Scales(**{name: math.exp(rng.uniform(*bounds[name])) for name in Scales._fields})


class Drop(NamedTuple):
    """A fall of every reading that nobody logged: sudden, then level, then it heals.

    Attributes:
        percent: how far.
        nights: how long it has lasted when it begins to heal, or when the season ends.
        ends: in the middle of the season (False) or with its last night (True).
        stays: it is a new level, and does not heal.
    """

    percent: float
    nights: int
    ends: bool
    stays: bool = False


@dataclass(frozen=True)
class Kind:
    """One kind of season; the defaults are those of "as modelled".

    Attributes:
        stream: which random numbers it draws from.
        nights: length of the season.
        noise: factor on the noise.
        autocorrelation: of first order, in the noise.
        student: whether the noise is Student's t.
        bad_nights: chance of a bad night that nobody logged.
        missing: chance that a night is not read.
        two_parts: recovery has a fast and a slow part.
        second_night: the dip is deepest on the second night.
        hard: almost daily training, of the three harder types.
        gaps: days between sessions, to choose from.
        rest: days without a session at first.
        timetable: each type has its own weekday.
        weekend: what Saturday's and Sunday's readings lie lower, ln.
        tired: it starts tired.
        new_sensor: drift nearly doubled, a climb of 0.1 ln, another sensor in the first half.
        ratio: rate ratio of a measure in use in half of the weeks.
        unlogged: share of sessions that are not in the log.
        powered: doses act as a power of themselves, drawn from 0.4 to 1.6.
        rate_scatter: SD of the log of half-life from session to session.
        drop: a fall that nobody logged.
    """

    stream: int = 0
    nights: int = 168
    noise: float = 1.0
    autocorrelation: float = 0.0
    student: bool = False
    bad_nights: float = 0.0
    missing: float = 0.04
    two_parts: bool = False
    second_night: bool = False
    hard: bool = False
    gaps: tuple[int, ...] = (1, 2, 2, 3)
    rest: int = 12
    timetable: bool = False
    weekend: float = 0.0
    tired: bool = False
    new_sensor: bool = False
    ratio: float | None = None
    unlogged: float = 0.0
    powered: bool = False
    rate_scatter: float = 0.0
    drop: Drop | None = None


FIRST_KINDS = {
    AS_MODELLED: Kind(0),
    "heavy tails, 20 % missing": Kind(1, student=True, missing=0.2),
    "fast and slow recovery": Kind(2, two_parts=True),
    "deepest on the second night": Kind(3, second_night=True),
    "drift and a new sensor": Kind(4, new_sensor=True),
    "hard training almost daily": Kind(5, hard=True, gaps=(1, 1, 1, 1, 1, 2)),
    "ten weeks, few sessions": Kind(6, nights=70, gaps=(3, 4, 5)),
    "tired start": Kind(7, tired=True, rest=3),
    "noise halved": Kind(8, noise=0.5),
    "noise one and a half": Kind(9, noise=1.5),
    SPEEDS_UP: Kind(10, ratio=1.5),
    DOES_NOTHING: Kind(11, ratio=1.0),
}
OTHER_KINDS = {
    "noise autocorrelation 0.2": Kind(autocorrelation=0.2),
    "noise autocorrelation 0.4": Kind(autocorrelation=0.4),
    "unlogged bad nights": Kind(bad_nights=1 / 15),
    "one session in eight not logged": Kind(unlogged=1 / 8),
    "sessions on fixed weekdays": Kind(timetable=True),
    "weekly rhythm, fixed weekdays": Kind(timetable=True, weekend=-math.log(0.9)),
    "doses act as a power": Kind(powered=True),
    "rates scatter by session": Kind(rate_scatter=0.3),
    "fourteen months": Kind(nights=420),
}
DROPS = {
    f"{percent} % lower for {nights} nights, {place}": Kind(drop=Drop(percent, nights, ends))
    for ends, place in ((False, "in the middle"), (True, "at the end"))
    for percent in (15, 25, 40)
    for nights in (5, 14, 30)
} | {"a new level, 25 % lower": Kind(drop=Drop(25, 60, ends=True, stays=True))}
KINDS = {**FIRST_KINDS, **OTHER_KINDS, **DROPS}
