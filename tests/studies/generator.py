"""Seasons that slackwater's own code did not make, of many kinds, with the truth known.

Written apart from `slackwater.model` on purpose: plain loops, another parametrisation, and
kinds of season that the model does not describe. Shares no code with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.studies.kinds import KINDS, Drop, Kind, Scales, draw_scales
from tests.studies.noise import Noise
from tests.studies.shapes import Shape, days, response

FIRST_DAY = "2031-01-01"
AHEAD = 7  # nights of rest after the season, known to the truth alone
HEALS = 2.0  # half-life of a drop that passes, days
TYPES = {
    "easy paddle": (0.03, 0.08),
    "steady row": (0.08, 0.18),
    "row intervals": (0.16, 0.32),
    "heavy lifting": (0.14, 0.30),
    "hill run": (0.20, 0.40),
}
WEEKDAYS = (6, 0, 1, 3, 5)  # of the types, before they are shuffled; Monday is 0
SKIPPED = 0.1  # of a timetable's sessions
MEASURE = "river dip"
Days = NDArray[np.datetime64]


class Measure(NamedTuple):
    """A recovery measure as it truly is, and when it is used.

    Attributes:
        ratio: recovery rate with over without.
        lift: what it adds to the reading of a night of its use, ln.
        shallower: share by which a session on a day of its use dips less.
        use: from the table of sessions, the days on which it is used; None for half of the
            weeks, drawn.
    """

    ratio: float = 1.0
    lift: float = 0.0
    shallower: float = 0.0
    use: Callable[[pd.DataFrame], Days] | None = None


@dataclass
class Made:
    """A season and what it was made from.

    Paths hold the season's nights, and those of `whole` the `AHEAD` nights after it too.

    Attributes:
        tables: the season's tables, by name, as `Season.from_tables` takes them.
        days: true days to recover from each type's typical session.
        next_days: true days of one more session of each type.
        whole: by name, for each night: `level`, true baseline, ln ms (a rhythm's mean over the
            week belongs to it, and a drop that stays); `dip`, true dip, ln; `shift`, what sensor,
            weekday and drop add, ln; `reading`, ln ms.
        nights: how many the season has.
        law: the noise.
        scales: the athlete's.
        drop_at: the drop's first night, None where there is none.
        ratio: true rate ratio of the measure, None where there is none.
        impulses: each type's response.
    """

    tables: dict[str, pd.DataFrame]
    days: dict[str, float]
    next_days: dict[str, float]
    whole: dict[str, np.ndarray]
    nights: int
    law: Noise
    scales: Scales
    drop_at: int | None = None
    ratio: float | None = None
    impulses: dict[str, Any] = field(default_factory=dict)

    @property
    def noise(self) -> float:
        """SD of an ordinary night, ln."""
        return self.law.ordinary

    @property
    def level(self) -> np.ndarray:
        """True baseline by night of the season."""
        return self.whole["level"][: self.nights]

    @property
    def dip(self) -> np.ndarray:
        """True dip by night of the season."""
        return self.whole["dip"][: self.nights]

    @property
    def coming(self) -> np.ndarray:
        """The readings after the season, ln ms."""
        return self.whole["reading"][self.nights :]


def make(
    kind: str,
    seed: int,
    nights: int = 0,
    scales: Scales | None = None,
    measure: Measure | None = None,
) -> Made:
    """Return a season of one of `KINDS`.

    Args:
        kind: its name.
        seed: the same seed gives the same season.
        nights: its length; 0 for what the kind has.
        scales: the athlete's; drawn if left out.
        measure: the one that is used; the kind's if left out.
    """
    its = KINDS[kind]
    if measure is None and its.ratio:
        measure = Measure(its.ratio)
    does = measure or Measure()
    rng = np.random.default_rng([its.stream, seed])
    apart = np.random.default_rng([its.stream, seed, 1])  # for what earlier seasons had not
    after = np.random.default_rng([its.stream, seed, 2])  # for the nights after the season
    nights = nights or its.nights
    scales = scales or draw_scales(apart, its.tired)
    noise = rng.uniform(0.08, 0.13) * its.noise
    law = Noise(
        noise,
        scales.tail,
        scales.degrees if its.student else None,
        its.autocorrelation,
        its.bad_nights,
    )
    shapes = {name: _shape(its, low, high, rng) for name, (low, high) in TYPES.items()}
    dates = pd.date_range(FIRST_DAY, periods=nights + AHEAD).to_numpy()
    sessions = _sessions(its, nights, rng, dates)
    on = np.zeros(nights + AHEAD, bool)
    if does.use:
        on[1:] = np.isin(dates, does.use(_table(sessions, dates)).astype(dates.dtype))[:-1]
    elif measure:
        on[:nights] = _weeks_on(nights, rng)
    on[nights:] = False
    speed = np.where(on, does.ratio, 1.0)
    power = float(apart.uniform(0.4, 1.6)) if its.powered else 1.0
    dip = _start(its, scales, speed, rng)
    for day, name, dose in sessions:
        height = dose**power * math.exp(scales.scatter * rng.standard_normal())
        height *= 1 - does.shallower * on[day + 1]
        shape = shapes[name].slowed(math.exp(its.rate_scatter * apart.standard_normal()))
        dip += height * response(shape, day + 1, nights + AHEAD, speed)

    def longer(draw: Callable[[int, np.random.Generator], np.ndarray]) -> np.ndarray:
        return np.concatenate([draw(nights, rng), draw(AHEAD, after)])

    start = math.log(rng.uniform(45, 85))
    drift = scales.drift * (1.875 if its.new_sensor else 1.0)
    level = start + np.cumsum(drift * longer(lambda count, by: by.standard_normal(count)))
    shift = np.zeros(nights + AHEAD)
    sensor = np.array(["strap"] * nights, object)
    if its.new_sensor:
        level[:nights] += np.linspace(0, 0.1, nights)
        level[nights:] += 0.1
        sensor[: nights // 2] = "clip"
        shift[: nights // 2] = 0.12
    weekend = its.weekend * (pd.DatetimeIndex(dates).day_of_week >= 5)
    level -= its.weekend * 2 / 7
    shift += its.weekend * 2 / 7 - weekend
    shift += does.lift * on
    drop_at, fall = _fall(its.drop, nights, apart)
    (level if its.drop and its.drop.stays else shift)[:] += fall
    error = law.with_memory(longer(law.independent)) - law.bad(nights + AHEAD, apart)
    kept = rng.random(nights) > its.missing
    kept[[0, -1]] = True
    reading = level - dip + shift + error
    logged = [s for s in sessions if not its.unlogged or apart.random() > its.unlogged]
    tables = {
        "readings": pd.DataFrame(
            {"date": dates[:nights], "rmssd_ms": np.exp(reading[:nights]), "sensor": sensor}
        )[kept].reset_index(drop=True),
        "sessions": _table(logged, dates),
    }
    if measure:
        acted = np.flatnonzero(on) - 1  # logged the day before the night it acts on
        tables["interventions"] = pd.DataFrame(
            {"date": dates[acted[acted >= 0]], "intervention": MEASURE}
        )
    threshold = 0.5 * law.ordinary
    following = {name: math.exp(scales.scatter * rng.standard_normal()) for name in TYPES}
    slower = {name: math.exp(its.rate_scatter * apart.standard_normal()) for name in TYPES}
    return Made(
        tables=tables,
        days={name: days(shapes[name], 1.0, threshold) for name in TYPES},
        next_days={
            name: days(shapes[name].slowed(slower[name]), following[name], threshold)
            for name in TYPES
        },
        whole={"level": level, "dip": dip, "shift": shift, "reading": reading},
        nights=nights,
        law=law,
        scales=scales._replace(drift=drift),
        drop_at=drop_at,
        ratio=measure.ratio if measure else None,
        impulses=shapes,
    )


def _shape(its: Kind, low: float, high: float, rng: np.random.Generator) -> Shape:
    height = math.exp(rng.uniform(math.log(low), math.log(high)))
    half = math.exp(rng.uniform(math.log(0.7), math.log(2.0)))
    if its.two_parts:
        return Shape(((0.7 * height, 0.6 * half), (0.3 * height, 2.5 * half)))
    return Shape(((height, half),), first_night=0.6 if its.second_night else 1.0)


def _sessions(
    its: Kind, nights: int, rng: np.random.Generator, dates: np.ndarray
) -> list[tuple[int, str, float]]:
    names = list(TYPES)[2:] if its.hard else list(TYPES)
    doses = [0.5, 0.7, 1.0, 1.4, 2.0] if its.powered else [0.7, 1.0, 1.0, 1.3]
    out = []
    if its.timetable:
        days_of = dict(zip(rng.permutation(WEEKDAYS), names, strict=True))
        weekdays = pd.DatetimeIndex(dates).day_of_week
        for day in range(its.rest, nights - 1):
            if weekdays[day] in days_of and rng.random() > SKIPPED:
                out.append((day, days_of[weekdays[day]], float(rng.choice(doses))))
        return out
    day = its.rest
    while day < nights - 1:
        dose = float(rng.choice(doses))
        out.append((day, str(rng.choice(names)), dose))
        day += int(rng.choice(its.gaps))
    for name in names:  # truths are kept for types that were done at all
        if all(done != name for _, done, _ in out):
            which = int(rng.integers(len(out)))
            out[which] = (out[which][0], name, 1.0)
    return out


def _table(sessions: Sequence[tuple[int, str, float]], dates: np.ndarray) -> pd.DataFrame:
    rows = [(dates[day], name, dose) for day, name, dose in sessions]
    return pd.DataFrame(rows, columns=["date", "type", "dose"])


def _start(its: Kind, scales: Scales, speed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    height, half = scales.start, scales.start_half_life
    if not its.tired:
        usual = rng.uniform(0.05, 0.3)
        height = usual if height is None else height
    elif height is None:
        height, half = 0.5, 5.0
    assert height is not None
    return response(Shape(((height, half),)), 0, len(speed), speed)


def _fall(
    drop: Drop | None, nights: int, rng: np.random.Generator
) -> tuple[int | None, np.ndarray]:
    """Return a drop's first night, and what it adds to each night's reading."""
    total = nights + AHEAD
    out = np.zeros(total)
    if drop is None:
        return None, out
    depth = math.log(1 - drop.percent / 100)
    if drop.ends:  # it heals at last, after as long again at most
        first = nights - drop.nights
        heals = total if drop.stays else nights + int(rng.integers(1, drop.nights + 1))
    else:
        first = int(rng.integers(nights // 2 - 14, nights // 2 + 15)) - drop.nights // 2
        heals = first + drop.nights
    out[first:heals] = depth
    past = np.arange(1, total - heals + 1) if heals < total else np.zeros(0)
    out[heals:] = depth * 0.5 ** (past / HEALS)
    return first, out


def _weeks_on(nights: int, rng: np.random.Generator) -> np.ndarray:
    weeks = np.arange(2, nights // 7)
    chosen = rng.choice(weeks, len(weeks) // 2, replace=False)
    return np.isin(np.arange(nights) // 7, chosen)
