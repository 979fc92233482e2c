"""How recovery was earlier, against now, in seasons long enough for that to be learnt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.intervals import Interval, interval
from slackwater.fitting.state.past import Past
from slackwater.model import names as n
from slackwater.model.paths import dip_trend, rate_trend
from slackwater.model.season import DAY
from slackwater.model.trend import STEP_NIGHTS, step_weights


@dataclass(frozen=True)
class HalfYear:
    """Recovery of all types together some half years back, against the last night.

    Attributes:
        night: the day.
        dip_then_percent: by how much deeper dips were.
        half_life_then_percent: by how much longer the half-life was.
        chance_deeper_then: the chance that dips were deeper.
        chance_slower_then: the chance that recovery was slower.
    """

    night: np.datetime64
    dip_then_percent: Interval
    half_life_then_percent: Interval
    chance_deeper_then: float
    chance_slower_then: float


def has_trend(past: Past) -> bool:
    """Return whether the fit let recovery change over the season."""
    return n.DIP_TREND_Z in past.draws


def recovery_then(past: Past, level: float) -> tuple[HalfYear, ...]:
    """Return recovery at each half year back, the latest first; none without a trend.

    Args:
        past: the season taken apart.
        level: credible mass of every interval.
    """
    if not has_trend(past):
        return ()
    nights = past.season.nights
    ages = np.arange(STEP_NIGHTS, len(nights), STEP_NIGHTS)
    weights = step_weights(ages, past.draws.sizes[n.HALF_YEAR])
    each = zip(
        ages, dip_trend(past.draws, weights).T, rate_trend(past.draws, weights).T, strict=True
    )
    return tuple(
        HalfYear(
            night=nights[-1] - DAY * int(age),
            dip_then_percent=interval(100 * np.expm1(deeper), level),
            half_life_then_percent=interval(100 * np.expm1(-faster), level),
            chance_deeper_then=float((deeper > 0).mean()),
            chance_slower_then=float((faster < 0).mean()),
        )
        for age, deeper, faster in each
    )
