"""What trials of several sizes show: as simulated, and by one smooth curve through all of them."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import BOUND, BOUNDS, interval
from slackwater.fitting.trials import effect
from slackwater.fitting.trials.rehearsal import Rehearsed

BOOTSTRAPS: Final = 400
LARGEST: Final = 64  # sessions per arm, unless asked for by number: beyond, few hold out


def sizes(
    results: list[Rehearsed], true: np.ndarray, information: np.ndarray, level: float
) -> xr.Dataset:
    """Return what was simulated at each size, and what the smooth curve says there."""
    tried = sorted({r.sessions_per_arm for r in results})
    of = [[r for r in results if r.sessions_per_arm == size] for size in tried]
    faster = [sum(r.verdict == "faster" for r in each) for each in of]
    ranges = [
        effect.share_range(count, len(each), level) for count, each in zip(faster, of, strict=True)
    ]
    shares = [
        [low, count / len(each), high]
        for (low, high), count, each in zip(ranges, faster, of, strict=True)
    ]
    return xr.Dataset(
        {
            "simulated": ("size", [len(each) for each in of]),
            "faster": ("size", faster),
            "faster_share": (("size", BOUND), shares),
            "chance": ("size", [effect.chance_of_faster(true, information, s) for s in tried]),
            "weeks": ("size", [pace(each) * s for each, s in zip(of, tried, strict=True)]),
        },
        coords={"size": tried, BOUND: list(BOUNDS)},
    )


def information_of(results: list[Rehearsed]) -> np.ndarray:
    """Return what one session per arm added to the precision of each trial's log rate ratio."""
    return np.array([(1 / r.sd**2 - 1 / effect.PRIOR.sd**2) / r.sessions_per_arm for r in results])


def pace(results: list[Rehearsed]) -> float:
    """Return how many weeks one session per arm takes."""
    return float(np.mean([r.days / r.sessions_per_arm for r in results])) / 7


def chance_range(
    true: np.ndarray, information: np.ndarray, sessions: int, level: float
) -> xr.DataArray:
    """Return the curve's chance with its Monte Carlo range (bootstrap over the trials)."""
    rng = np.random.default_rng(sessions)
    again = rng.integers(len(true), size=(BOOTSTRAPS, len(true)))
    chances = [effect.chance_of_faster(true[i], information[i], sessions) for i in again]
    found = interval(np.array(chances), level)
    found.loc[{BOUND: "median"}] = effect.chance_of_faster(true, information, sessions)
    return found


def smallest_found(
    to_shorten: np.ndarray, information: np.ndarray, sessions: int, chance: float
) -> float:
    """Return the days saved, in tenths, that are found with that chance; NaN where none are."""
    for tenths in range(1, int(10 * np.median(to_shorten))):
        effects = effect.log_ratio_for(to_shorten, tenths / 10)
        possible = np.isfinite(effects)
        effects, known = effects[possible], information[possible]
        if effect.chance_of_faster(effects, known, sessions) >= chance:
            return tenths / 10
    return float("nan")
