"""How soon a drop could be told at best, by one who knows all about the athlete but its beginning.

    python -m tests.studies.told_at_best [--series 400]

Prints a table. The nights are Gaussian, with the noise of an athlete and a quarter of its variance
lingering; level, noise and the drop's size are known, nothing was trained. The statistic of
Shiryaev and Roberts is then as quick as any can be (Pollak 1985, Annals of Statistics 13:206-227;
from memory), its alarm set so that it is wrong once in two years. No watch that has to learn all
that from the readings does better.
"""

from __future__ import annotations

import argparse
import sys
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

TWO_YEARS = 730
PERSISTENCE = 0.5
LINGERING = 0.25
BEGINNINGS = 40  # nights back that a drop may have begun
SETTLED = 60  # nights before it
APART = 14  # nights between two alarms that are not one
DROPS = (15, 25, 40)  # percent

Floats = NDArray[np.float64]


class Nights(NamedTuple):
    """An athlete's nights: a transient that lingers, and what is new each night; ln."""

    noise_sd: float

    def made(self, series: int, nights: int, rng: np.random.Generator) -> Floats:
        """Return nights of rest at a level of 0, shape (series, nights)."""
        fresh = np.sqrt(1 - PERSISTENCE**2)
        own, lasts = np.sqrt(1 - LINGERING), np.sqrt(LINGERING)
        normal = self.noise_sd * rng.standard_normal((2, nights, series))
        transient, out = lasts * normal[0, 0], np.empty((series, nights))
        for night in range(nights):
            if night:
                transient = PERSISTENCE * transient + lasts * fresh * normal[0, night]
            out[:, night] = transient + own * normal[1, night]
        return out

    def filter(self) -> tuple[float, float]:
        """Return the variance of a night's error and the transient's gain, both in the long run."""
        whole, own = LINGERING * self.noise_sd**2, (1 - LINGERING) * self.noise_sd**2
        variance = whole
        for _ in range(200):
            left = variance * own / (variance + own)
            variance = PERSISTENCE**2 * left + (1 - PERSISTENCE**2) * whole
        return variance + own, variance / (variance + own)


def statistic(readings: Floats, nights: Nights, drop: float) -> Floats:
    """Return the logarithm of the statistic on each night, for a drop of known size."""
    variance, gain = nights.filter()
    answer, expected = np.empty(BEGINNINGS), 0.0
    for age in range(BEGINNINGS):  # what is left of a drop in the errors, by its age
        answer[age] = drop - expected
        expected = PERSISTENCE * (expected + gain * answer[age])
    state = np.zeros(len(readings))
    odds = np.full((len(readings), BEGINNINGS), -np.inf)
    out = np.empty(readings.shape)
    for night, reading in enumerate(readings.T):
        error = reading - state
        state = PERSISTENCE * (state + gain * error)
        odds = np.concatenate([np.zeros((len(readings), 1)), odds[:, :-1]], axis=1)
        odds += (error[:, None] * answer - answer**2 / 2) / variance
        out[:, night] = np.log(np.exp(odds).sum(axis=1))
    return out


def alarms(values: Floats, limit: float) -> float:
    """Return how often a series says that there is a drop, each for itself, in the mean."""
    count = 0
    for row in values > limit:
        nights = np.flatnonzero(row)
        count += int(len(nights) > 0) + int((np.diff(nights) > APART).sum())
    return count / len(values)


def told(noise_sd: float, percent: float, series: int) -> tuple[float, float]:
    """Return the shares told within 5 and within 10 nights."""
    rng = np.random.default_rng([round(1000 * noise_sd), round(percent)])
    nights, drop = Nights(noise_sd), float(np.log1p(-percent / 100))
    quiet = statistic(nights.made(series, TWO_YEARS, rng), nights, drop)
    low, high = 0.0, 15.0
    for _ in range(30):
        limit = (low + high) / 2
        low, high = (limit, high) if alarms(quiet, limit) > 1 else (low, limit)
    readings = nights.made(series, SETTLED + 10, rng)
    readings[:, SETTLED:] += drop
    found = statistic(readings, nights, drop) > high
    fair = ~found[:, SETTLED - 5 : SETTLED].any(axis=1)
    within = [found[fair, SETTLED : SETTLED + most].any(axis=1).mean() for most in (5, 10)]
    return float(within[0]), float(within[1])


def main() -> None:
    """Print how soon drops could be told, by the athlete's noise."""
    parser = argparse.ArgumentParser(description="How soon drops could be told at best.")
    parser.add_argument("--series", type=int, default=400, help="made series of each")
    series = parser.parse_args().series
    lines = ["| noise | drop | within 5 nights | within 10 nights |", "| --- | --- | ---: | ---: |"]
    for noise_sd in (0.08, 0.1, 0.12):
        for percent in DROPS:
            five, ten = told(noise_sd, percent, series)
            lines.append(f"| {noise_sd:.0%} | {percent} % | {five:.0%} | {ten:.0%} |")
    sys.stdout.write("\n".join([*lines, ""]))


if __name__ == "__main__":
    main()
