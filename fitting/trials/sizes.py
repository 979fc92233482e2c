"""What trials of several sizes show: as simulated, and by one smooth curve through all of them.

The curve's chance of the verdict is a normal approximation (assurance: O'Hagan, Stevens &
Campbell 2005, Pharmaceutical Statistics 4:187-201): the trial's own estimate of the log rate
ratio is normal around the true one, with a standard error that shrinks with the square root of
the number of sessions, and the verdict weighs it together with the prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import BOUND, BOUNDS, CLEARLY, Interval, interval
from slackwater.fitting.trials.effect import log_ratio_for
from slackwater.fitting.trials.rehearsal import Rehearsed
from slackwater.model.dynamics import Floats
from slackwater.model.priors import Belief

SIZE: Final = "sessions_per_arm"
BOOTSTRAPS: Final = 400
LARGEST: Final = 64  # sessions per arm, unless asked for by number: beyond, few hold out
# Of what is offered instead of too small an effect: other trials, simulated for it, tell a size to
# about a tenth, and what they need must not be more than the largest.
OFFERED: Final = 48


@dataclass(frozen=True)
class Curve:
    """The chance of the verdict "faster" by the size of a trial.

    Attributes:
        effects: draws of the true log rate ratio, shape (S,).
        information: what one session per arm adds to its precision, shape (S,).
        prior: what is believed of it beforehand.
    """

    effects: Floats
    information: Floats
    prior: Belief

    def chance(self, sessions: float) -> float:
        """Return the chance after a trial of so many sessions per arm."""
        from scipy.special import ndtri

        error = 1 / np.sqrt(np.maximum(self.information * sessions, 1e-12))
        mean, sd = self.prior
        z = ndtri(CLEARLY) * np.sqrt(1 + (error / sd) ** 2) - mean * error / sd**2
        return assurance(self.effects, error, z)

    def chance_range(self, sessions: int, level: float) -> Interval:
        """Return the chance with its Monte Carlo range (bootstrap over the draws)."""
        rng = np.random.default_rng(sessions)
        again = rng.integers(len(self.effects), size=(BOOTSTRAPS, len(self.effects)))
        chances = [
            Curve(self.effects[i], self.information[i], self.prior).chance(sessions) for i in again
        ]
        low, _, high = interval(np.array(chances), level)
        return Interval(low, self.chance(sessions), high)

    def sessions_for(self, chance: float, most: int) -> int | None:
        """Return the fewest sessions per arm with that chance, None where `most` is too few."""
        sizes = range(2, most + 1)
        return next((size for size in sizes if self.chance(size) >= chance), None)


def assurance(effects: Floats, errors: Floats | float, z: Floats | float) -> float:
    """Return the chance that an estimate exceeds `z` standard errors.

    Args:
        effects: draws of the true effect, shape (S,).
        errors: the estimate's standard error, a number or one a draw.
        z: how many standard errors make the verdict, a number or one a draw.
    """
    from scipy.special import ndtr

    return float(np.mean(ndtr(effects / errors - z)))


def share_range(count: int, of: int, level: float) -> tuple[float, float]:
    """Return the range of a share seen `count` times `of` so many (Wilson 1927)."""
    from scipy.stats import binomtest

    found = binomtest(count, of).proportion_ci(level, method="wilson")
    return float(found.low), float(found.high)


def information_of(results: Sequence[Rehearsed], prior: Belief) -> Floats:
    """Return what one session per arm added to the precision of each trial's log rate ratio.

    Args:
        results: simulated trials, fitted with this prior.
        prior: of the log rate ratio.
    """
    return np.array([(1 / r.sd**2 - 1 / prior.sd**2) / r.sessions_per_arm for r in results])


def sizes(results: Sequence[Rehearsed], curve: Curve, level: float) -> xr.Dataset:
    """Return what was simulated at each size, and what the curve says there.

    Returns:
        Dimension `sessions_per_arm`: `weeks`, `trials` simulated, `faster` (how many ended with
        that verdict), `faster_share` (with `bound`), `chance`.
    """
    tried = sorted({r.sessions_per_arm for r in results})
    of = [[r for r in results if r.sessions_per_arm == size] for size in tried]
    faster = [sum(r.verdict == "faster" for r in each) for each in of]
    shares = []
    for count, each in zip(faster, of, strict=True):
        low, high = share_range(count, len(each), level)
        shares.append([low, count / len(each), high])
    return xr.Dataset(
        {
            "weeks": (SIZE, [pace(each) * s for each, s in zip(of, tried, strict=True)]),
            "trials": (SIZE, [len(each) for each in of]),
            "faster": (SIZE, faster),
            "faster_share": ((SIZE, BOUND), shares),
            "chance": (SIZE, [curve.chance(s) for s in tried]),
        },
        coords={SIZE: tried, BOUND: list(BOUNDS)},
    )


def pace(results: Sequence[Rehearsed]) -> float:
    """Return how many weeks one session per arm takes."""
    return float(np.mean([r.days / r.sessions_per_arm for r in results])) / 7


def smallest_found(
    to_shorten: Floats,
    information: Floats,
    prior: Belief,
    sessions: int,
    chance: float,
    most: float,
) -> float:
    """Return the days saved, in tenths, that are found with that chance; NaN where none are.

    Args:
        to_shorten: days that a measure can shorten, shape (S,).
        information: what one session per arm adds to the precision, shape (S,).
        prior: of the log rate ratio.
        sessions: sessions per arm.
        chance: of the verdict "faster".
        most: days, below which it must be.
    """
    for tenths in range(1, int(10 * most)):
        effects = log_ratio_for(to_shorten, tenths / 10)
        possible = np.isfinite(effects)
        if Curve(effects[possible], information[possible], prior).chance(sessions) >= chance:
            return tenths / 10
    return float("nan")
