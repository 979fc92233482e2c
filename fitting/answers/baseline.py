"""Where baseline lies, how much dip is left, and whether rest has done its work."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.state.ahead import days_until_baseline
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Ints
from slackwater.model.season import DAY

FLAT_NIGHTS_NEEDED: Final = 3
FLAT_CHANCE: Final = 0.8
PLATEAU_RULE: Final = (
    "a night counts as flat when the chance is at least 80 % that what rest could still add "
    "lies under the threshold; three such nights in a row, without a session, are a plateau"
)


def baseline(now: Standing, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer where baseline lies and how far the athlete is from it.

    Returns:
        `baseline_rmssd_ms`, `dip_left_ln`, `further_rest_days`, `night_to_night_sd_ln`
        (each with `bound`), `chance_at_baseline`, `flat_nights`, `plateau_reached`.
    """
    rng = now.rng()
    level_now = now.level_mean + np.sqrt(now.level_variance) * rng.standard_normal(
        len(now.level_mean)
    )
    dip = now.dips.sum(axis=1)
    flat = flat_nights(now)
    data = xr.Dataset(
        {
            "baseline_rmssd_ms": interval(np.exp(level_now), level),
            "dip_left_ln": interval(dip, level),
            "chance_at_baseline": float((dip <= now.threshold).mean()),
            "further_rest_days": interval(days_until_baseline(now, []), level),
            "flat_nights": flat,
            "plateau_reached": flat >= FLAT_NIGHTS_NEEDED,
            "night_to_night_sd_ln": interval(now.parameter(n.NOISE_SD), level),
        }
    )
    return answer(data, "baseline", now, level, [], plateau_rule=PLATEAU_RULE)


def flat_nights(now: Standing) -> int:
    """Count the latest nights in a row, without a session, that rest could no longer lift.

    Walks the dips back from the last morning: without events in between, a dip was larger
    by its own decay each night before.
    """
    dips = now.dips
    count = 0
    dates = now.night - DAY * np.arange(_nights_since_last_event(now))
    speed = now.speed(dates)
    for back in range(len(dates)):
        under = (dips.sum(axis=1) <= now.threshold).mean()
        if under < FLAT_CHANCE:
            return count
        count += 1
        dips = dips * np.exp(now.rates * speed[:, [back]])
    return count


def _nights_since_last_event(now: Standing) -> int:
    """Return how many nights, up to the last, came after the one that felt the last event."""
    felt = _felt_nights(now)
    last = int(((now.night - now.season.first_night) / DAY).astype(int))
    on_axis = felt[(felt >= 0) & (felt <= last)]
    return last - int(on_axis.max(initial=-1))


def _felt_nights(now: Standing) -> Ints:
    return np.concatenate([now.season.session_nights(), now.season.stressor_nights()])
