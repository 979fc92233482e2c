"""An invented club rower, day by day: what the readings are made of, and how the days go.

Plain loops, apart from `slackwater.model`, so that what is learnt is held against a truth that
slackwater's own code did not make.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from tests.studies.shapes import Shape

FIRST: Final = np.datetime64("2032-01-05")
DAY: Final = np.timedelta64(1, "D")
NIGHTS: Final = 1500  # more than are ever lived
BASELINE_MS: Final = 52.0
NOISE: Final = 0.09  # SD of an ordinary night, ln
TAIL: Final = 0.25  # SD of a night's log SD
DRIFT: Final = 0.006  # of baseline, ln a night
SCATTER: Final = 0.22  # from session to session, ln
MISSED: Final = 0.04  # of the nights
FORGOTTEN: Final = 0.05  # of the days on which a measure is to be used
START: Final = Shape(((0.20, 2.8),))
COLD: Final = Shape(((0.16, 1.5),))
TYPES: Final = {
    "easy paddle": Shape(((0.06, 0.9),)),
    "steady row": Shape(((0.13, 1.1),)),
    "row intervals": Shape(((0.25, 1.2),)),
    "heavy squats": Shape(((0.21, 1.8),)),
    "hill run": Shape(((0.30, 1.5),)),
}
ATTRIBUTES: Final = {
    "easy paddle": ("row", "easy"),
    "steady row": ("row", "moderate"),
    "row intervals": ("row", "hard"),
    "heavy squats": ("lift", "hard"),
    "hill run": ("run", "hard"),
}
RATE_RATIOS: Final = {"river dip": 1.6, "beet juice": 1.0}

Choose = Callable[[np.datetime64], str | None]


def true_days() -> dict[str, float]:
    """Return the days to recover from a typical session of each type."""
    return {
        name: 1 + max(0.0, math.log2(height / (0.5 * NOISE)) * half)
        for name, ((height, half),) in ((name, shape.parts) for name, shape in TYPES.items())
    }


@dataclass
class Rower:
    """The rower's log so far, and luck that is drawn before the first day.

    Attributes:
        folder: the season folder, written anew each evening.
        seed: of all that is random.
        night: this morning.
        readings: ms by morning; what happens later does not change them.
        sessions: type by date.
        used: measures by date.
        ill: days of a head cold.
        forgot: days on which a measure was to be used and was not.
    """

    folder: Path
    seed: int
    night: np.datetime64 = FIRST - DAY
    readings: dict[np.datetime64, float] = field(default_factory=dict)
    sessions: dict[np.datetime64, str] = field(default_factory=dict)
    used: dict[np.datetime64, list[str]] = field(default_factory=dict)
    ill: list[np.datetime64] = field(default_factory=list)
    forgot: list[np.datetime64] = field(default_factory=list)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        self._level = math.log(BASELINE_MS) + np.cumsum(DRIFT * rng.standard_normal(NIGHTS))
        spread = NOISE * np.exp(TAIL * rng.standard_normal(NIGHTS))
        self._noise = spread * rng.standard_normal(NIGHTS)
        self._size = np.exp(SCATTER * rng.standard_normal(NIGHTS))
        self._missed = rng.random(NIGHTS) < MISSED
        self._forgets = rng.random(NIGHTS) < FORGOTTEN
        self._missed[:14] = False  # in the washout, care is taken
        self._days = rng

    def usual(self, gaps: list[int]) -> Choose:
        """Return training as usual from today on: all types in shuffled turns, days apart."""
        waiting: list[str] = []
        next_day = self.night

        def choose(day: np.datetime64) -> str | None:
            nonlocal waiting, next_day
            if day < next_day:
                return None
            waiting = waiting or [str(name) for name in self._days.permutation(list(TYPES))]
            next_day = day + int(self._days.choice(gaps)) * DAY
            return waiting.pop()

        return choose

    def wake(self) -> np.datetime64:
        """Let the night pass, take the reading, and return the new day."""
        self.night += DAY
        if not self._missed[self._at(self.night)]:
            self.readings[self.night] = round(self._reading(self.night), 1)
        self.write()
        return self.night

    def train(self, label: str | None) -> None:
        """Do and log today's session, unless ill."""
        if label is not None and not any(0 <= (self.night - day) / DAY < 5 for day in self.ill):
            self.sessions[self.night] = label
            self.write()

    def use(self, measure: str) -> None:
        """Use and log a measure today, unless it is forgotten."""
        if self._forgets[self._at(self.night)]:
            self.forgot.append(self.night)
            return
        self.used.setdefault(self.night, []).append(measure)
        self.write()

    def fall_ill(self) -> None:
        """Have a head cold today."""
        self.ill.append(self.night)
        self.write()

    def recovered_on(self, day: np.datetime64) -> bool:
        """Say whether the dip lies under half an ordinary night's SD, which nobody can see."""
        return self._dip(day) <= 0.5 * NOISE

    def baseline_ms(self) -> float:
        """Return the true baseline this morning."""
        return math.exp(self._level[self._at(self.night)])

    def write(self) -> None:
        """Write the season folder's files."""
        rows = [(day, reading, "finger clip") for day, reading in self.readings.items()]
        self._file("readings", ["date", "rmssd_ms", "sensor"], rows)
        self._file("sessions", ["date", "type"], list(self.sessions.items()))
        done = set(self.sessions.values())
        types = [(name, *each) for name, each in ATTRIBUTES.items() if name in done]
        self._file("types", ["type", "mode", "effort"], types)
        used = [(day, name) for day, names in self.used.items() for name in names]
        self._file("interventions", ["date", "intervention"], used)
        self._file("stressors", ["date", "stressor"], [(day, "head cold") for day in self.ill])

    def _file(self, name: str, columns: list[str], rows: Sequence[tuple[object, ...]]) -> None:
        if rows:
            self.folder.mkdir(exist_ok=True)
            table = pd.DataFrame(rows, columns=columns)
            table.to_csv(self.folder / f"{name}.csv", index=False, lineterminator="\n")

    def _reading(self, day: np.datetime64) -> float:
        at = self._at(day)
        return math.exp(self._level[at] - self._dip(day) + self._noise[at])

    def _dip(self, day: np.datetime64) -> float:
        """Return all that weighs on a night: START from the first on, the others from the next."""
        dips = [(FIRST, START, 1.0)]
        dips += [(d + DAY, TYPES[t], float(self._size[self._at(d)])) for d, t in self._log(day)]
        dips += [(d + DAY, COLD, 1.0) for d in self.ill if d < day]
        total = 0.0
        for first, shape, size in dips:
            if (day - first) / DAY < 40:  # after that nothing is left
                total += size * shape.at(self._elapsed(first, day), 1.0)
        return total

    def _log(self, day: np.datetime64) -> list[tuple[np.datetime64, str]]:
        return [(d, label) for d, label in self.sessions.items() if d < day]

    def _elapsed(self, first: np.datetime64, day: np.datetime64) -> float:
        """Return the days of recovery from one morning to another, measures counted."""
        between = np.arange(first, day)  # what is used on a day acts on the night after it
        return sum(
            math.prod(RATE_RATIOS[name] for name in self.used.get(each, ())) for each in between
        )

    def _at(self, day: np.datetime64) -> int:
        return int((day - FIRST) / DAY)
