"""How recovery was earlier, against now, in seasons long enough for that to be learnt."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import interval
from slackwater.fitting.sampling.last_night import dip_trend, rate_trend
from slackwater.fitting.state.past import Past
from slackwater.model import names as n
from slackwater.model.season import DAY
from slackwater.model.trend import STEP_NIGHTS, step_weights


def has_trend(past: Past) -> bool:
    """Return whether the fit let recovery change over the season."""
    return n.DIP_TREND_Z in past.draws


def recovery_then(past: Past, level: float) -> tuple[xr.Dataset, list[dict[str, Any]]]:
    """Return recovery of all types together at each half year back, against the last night.

    Args:
        past: a season with a trend.
        level: credible mass of every interval.

    Returns:
        Dimension `half_year`, the latest first: `dip_then_percent` and
        `half_life_then_percent`, by how much larger they were (with `bound`), and the
        chances `chance_deeper_then` and `chance_slower_then`; and the day of each.
    """
    nights = past.season.nights
    ages = np.arange(STEP_NIGHTS, len(nights), STEP_NIGHTS)
    weights = step_weights(ages, past.draws.sizes[n.HALF_YEAR])
    deeper, faster = dip_trend(past.draws, weights), rate_trend(past.draws, weights)
    data = xr.Dataset(
        {
            "dip_then_percent": interval(100 * np.expm1(deeper), level, (n.HALF_YEAR,)),
            "half_life_then_percent": interval(100 * np.expm1(-faster), level, (n.HALF_YEAR,)),
            "chance_deeper_then": (n.HALF_YEAR, (deeper > 0).mean(axis=0)),
            "chance_slower_then": (n.HALF_YEAR, (faster < 0).mean(axis=0)),
        }
    )
    return data, [{"night": str(nights[-1] - DAY * int(age))} for age in ages]
