"""Session types that are logged or planned, and that no fitted reading shows yet.

What the fit learnt of types in general tells what one more of them is like: its dip and
rate are drawn from the population of types, moved by the attribute values it shares.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.season import Season


class UnseenType(NamedTuple):
    """What may be believed of a type before any reading, S draws.

    Attributes:
        log_dip: log of the typical dip that decays, ln, shape (S,).
        log_rate: log of the recovery rate, 1/day, shape (S,).
    """

    log_dip: Floats
    log_rate: Floats


def draw_unseen(
    season: Season, draws: xr.Dataset, rng: np.random.Generator
) -> dict[str, UnseenType]:
    """Draw the season's types that the fit does not hold.

    Args:
        season: the season as it is now.
        draws: draws of the posterior, dimension `sample` first.
        rng: source of randomness.

    Returns:
        By type; empty where the fit holds no session at all.
    """
    if n.TYPE_DIP_MEAN not in draws:
        return {}
    fitted = {str(t) for t in draws[n.TYPE].values}
    return {t: _draw(season, t, draws, rng) for t in season.types if t not in fitted}


def _draw(season: Season, name: str, draws: xr.Dataset, rng: np.random.Generator) -> UnseenType:
    dip, rate = draws[n.TYPE_DIP_MEAN].values, draws[n.TYPE_RATE_MEAN].values
    if n.ATTRIBUTE_DIP in draws:
        given = season.data[n.TYPE_ATTRIBUTE].sel({n.TYPE: name}).values
        has = {f"{a}: {v}" for a, v in zip(season.attributes, given, strict=True)}
        shared = np.array([str(v) in has for v in draws[n.ATTRIBUTE_VALUE].values], float)
        dip = dip + draws[n.ATTRIBUTE_DIP_SD].values * (draws[n.ATTRIBUTE_DIP].values @ shared)
        rate = rate + draws[n.ATTRIBUTE_RATE_SD].values * (draws[n.ATTRIBUTE_RATE].values @ shared)
    dip = dip + draws[n.TYPE_DIP_SD].values * rng.standard_normal(len(dip))
    rate = rate + draws[n.TYPE_RATE_SD].values * rng.standard_normal(len(rate))
    return UnseenType(dip - np.log(draws[n.FIRST_NIGHT].values), rate)
