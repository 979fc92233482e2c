"""Seasons that slackwater's own code did not make, of many kinds, with the truth known.

Written apart from `slackwater.model` on purpose: plain loops, another parametrisation, and
kinds of season that the model does not describe. Shares no code with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

FIRST_DAY = "2031-01-01"
KINDS = (
    "as modelled",
    "heavy tails, 20 % missing",
    "fast and slow recovery",
    "deepest on the second night",
    "drift and a new sensor",
    "hard training almost daily",
    "ten weeks, few sessions",
    "tired start",
    "noise halved",
    "noise one and a half",
    "a measure that speeds recovery by half",
    "a measure that does nothing",
)
TYPES = {
    "easy paddle": (0.03, 0.08),
    "steady row": (0.08, 0.18),
    "row intervals": (0.16, 0.32),
    "heavy lifting": (0.14, 0.30),
    "hill run": (0.20, 0.40),
}
MEASURE = "river dip"


@dataclass
class Made:
    """A season and what it was made from.

    Attributes:
        tables: the season's tables, by name, as `Season.from_tables` takes them.
        days: true days to recover from each type's typical session.
        next_days: true days of one more session of each type.
        level: true baseline by night, ln ms.
        dip: true dip by night, ln.
        noise: SD of an ordinary night, ln.
        drift: baseline's SD per night, ln.
        shift: what the sensor adds by night, ln.
        ratio: true rate ratio of the measure, None where there is none.
    """

    tables: dict[str, pd.DataFrame]
    days: dict[str, float]
    next_days: dict[str, float]
    level: np.ndarray
    dip: np.ndarray
    noise: float
    drift: float
    shift: np.ndarray
    ratio: float | None = None
    impulses: dict[str, Any] = field(default_factory=dict)


def make(kind: str, seed: int, nights: int = 0) -> Made:
    """Return a season of one of `KINDS`, of that many nights (0: what the kind has)."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    nights = nights or (70 if kind == "ten weeks, few sessions" else 168)
    noise = rng.uniform(0.08, 0.13)
    noise *= {"noise halved": 0.5, "noise one and a half": 1.5}.get(kind, 1.0)
    shapes = {name: _shape(kind, low, high, rng) for name, (low, high) in TYPES.items()}
    sessions = _sessions(kind, nights, rng)
    measured = kind.startswith("a measure")
    ratio = 1.5 if kind == "a measure that speeds recovery by half" else 1.0
    on = _weeks_on(nights, rng) if measured else np.zeros(nights, bool)
    speed = np.where(on, ratio, 1.0)
    dip = _start(kind, nights, speed, rng)
    for day, name, dose in sessions:
        height = dose * math.exp(0.25 * rng.standard_normal())
        dip += height * _response(shapes[name], day + 1, nights, speed)
    drift = 0.015 if kind == "drift and a new sensor" else 0.008
    level = math.log(rng.uniform(45, 85)) + np.cumsum(drift * rng.standard_normal(nights))
    shift = np.zeros(nights)
    sensor = np.array(["strap"] * nights, object)
    if kind == "drift and a new sensor":
        level += np.linspace(0, 0.1, nights)
        sensor[: nights // 2] = "clip"
        shift[: nights // 2] = 0.12
    if kind == "heavy tails, 20 % missing":
        error = noise * rng.standard_t(4, nights)
    else:
        error = noise * np.exp(0.25 * rng.standard_normal(nights)) * rng.standard_normal(nights)
    missing = 0.2 if kind == "heavy tails, 20 % missing" else 0.04
    kept = rng.random(nights) > missing
    kept[[0, -1]] = True
    dates = pd.date_range(FIRST_DAY, periods=nights).to_numpy()
    reading = np.exp(level - dip + shift + error)
    readings = pd.DataFrame({"date": dates, "rmssd_ms": reading, "sensor": sensor})[kept]
    tables = {
        "readings": readings.reset_index(drop=True),
        "sessions": pd.DataFrame(
            [(dates[day], name, dose) for day, name, dose in sessions],
            columns=["date", "type", "dose"],
        ),
    }
    if measured:
        acted = np.flatnonzero(on) - 1  # logged the day before the night it acts on
        tables["interventions"] = pd.DataFrame(
            {"date": dates[acted[acted >= 0]], "intervention": MEASURE}
        )
    threshold = 0.5 * noise
    next_height = {name: math.exp(0.25 * rng.standard_normal()) for name in TYPES}
    return Made(
        tables=tables,
        days={name: _days(shapes[name], 1.0, threshold) for name in TYPES},
        next_days={name: _days(shapes[name], next_height[name], threshold) for name in TYPES},
        level=level,
        dip=dip,
        noise=noise,
        drift=drift,
        shift=shift,
        ratio=ratio if measured else None,
        impulses=shapes,
    )


@dataclass(frozen=True)
class Shape:
    """A response to one usual session: parts that decay, and a first night held back."""

    parts: tuple[tuple[float, float], ...]  # height, half-life in days
    first_night: float = 1.0  # share of the dip that shows on the first night

    def at(self, elapsed: float, nights: float) -> float:
        """Return the dip after `elapsed` (recovery) days, `nights` after the first night."""
        if self.first_night < 1.0:
            if nights < 1:
                peak = sum(height for height, _ in self.parts)
                return peak * (self.first_night + (1 - self.first_night) * nights)
            elapsed -= 1
        return float(sum(height * 0.5 ** (elapsed / half) for height, half in self.parts))


def _shape(kind: str, low: float, high: float, rng: np.random.Generator) -> Shape:
    height = math.exp(rng.uniform(math.log(low), math.log(high)))
    half = math.exp(rng.uniform(math.log(0.7), math.log(2.0)))
    if kind == "fast and slow recovery":
        return Shape(((0.7 * height, 0.6 * half), (0.3 * height, 2.5 * half)))
    if kind == "deepest on the second night":
        return Shape(((height, half),), first_night=0.6)
    return Shape(((height, half),))


def _response(shape: Shape, first: int, nights: int, speed: np.ndarray) -> np.ndarray:
    out = np.zeros(nights)
    elapsed = 0.0
    for night in range(first, nights):
        if night > first:
            elapsed += speed[night]
        out[night] = shape.at(elapsed, night - first)
    return out


def _days(shape: Shape, height: float, threshold: float) -> float:
    """Return the last moment at which the dip lies over the threshold, by a fine grid."""
    grid = np.arange(0.0, 60.0, 0.002)
    over = [t for t in grid if height * shape.at(t, t) > threshold]
    return 1.0 + (over[-1] if over else 0.0)


def _sessions(kind: str, nights: int, rng: np.random.Generator) -> list[tuple[int, str, float]]:
    names = list(TYPES)
    gaps = [1, 2, 2, 3]
    rest = 12
    if kind == "hard training almost daily":
        names, gaps = names[2:], [1, 1, 1, 1, 1, 2]
    if kind == "ten weeks, few sessions":
        gaps = [3, 4, 5]
    if kind == "tired start":
        rest = 3
    out = []
    day = rest
    while day < nights - 1:
        dose = float(rng.choice([0.7, 1.0, 1.0, 1.3]))
        out.append((day, str(rng.choice(names)), dose))
        day += int(rng.choice(gaps))
    for name in TYPES:  # truths are kept for types that were done at all
        if name in names and all(done != name for _, done, _ in out):
            which = int(rng.integers(len(out)))
            out[which] = (out[which][0], name, 1.0)
    return out


def _start(kind: str, nights: int, speed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    height, half = (0.5, 5.0) if kind == "tired start" else (rng.uniform(0.05, 0.3), 2.5)
    return _response(Shape(((height, half),)), 0, nights, speed)


def _weeks_on(nights: int, rng: np.random.Generator) -> np.ndarray:
    weeks = np.arange(2, nights // 7)
    chosen = rng.choice(weeks, len(weeks) // 2, replace=False)
    return np.isin(np.arange(nights) // 7, chosen)
