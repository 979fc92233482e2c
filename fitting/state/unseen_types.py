"""Session types that are logged or planned, and that no fitted reading shows yet.

What the fit learnt of types in general tells what one more of them is like: its dip and
rate are drawn from the population of types, moved by the attribute values it shares. Where a group
knows the type or the values by name, what it believes of them takes the place of any other's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.priors import Priors
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
    season: Season, draws: xr.Dataset, priors: Priors, rng: np.random.Generator
) -> dict[str, UnseenType]:
    """Draw the season's types that the fit does not hold.

    Args:
        season: the season as it is now.
        draws: draws of the posterior, dimension `sample` first.
        priors: what was believed when they were drawn; a group's may know types by name.
        rng: source of randomness.

    Returns:
        By type; empty where the fit holds no session at all.
    """
    if n.TYPE_DIP_MEAN not in draws:
        return {}
    fitted = {str(t) for t in draws[n.TYPE].values}
    return {t: _draw(season, t, draws, priors, rng) for t in season.types if t not in fitted}


def known_by_group(priors: Priors, name: str) -> bool:
    """Say whether what is believed of a type before any reading is what a group knows of it."""
    return priors.of(n.TYPE_LOG_DIP, name) is not None


def _draw(
    season: Season, name: str, draws: xr.Dataset, priors: Priors, rng: np.random.Generator
) -> UnseenType:
    given = season.data[n.TYPE_ATTRIBUTE].sel({n.TYPE: name}).values
    has = [f"{a}: {v}" for a, v in zip(season.attributes, given, strict=True) if v]

    def of(mean: str, sd: str, own: str, effect: str, effect_sd: str) -> Floats:
        middle = draws[mean].values + _effects(has, effect, effect_sd, draws, priors, rng)
        z = rng.standard_normal(len(middle))
        belief = priors.of(own, name)
        if belief is None:
            return np.asarray(middle + draws[sd].values * z)
        return np.asarray(middle + belief.mean + belief.sd * z)

    dip = of(n.TYPE_DIP_MEAN, n.TYPE_DIP_SD, n.TYPE_LOG_DIP, n.ATTRIBUTE_DIP, n.ATTRIBUTE_DIP_SD)
    rate = of(
        n.TYPE_RATE_MEAN, n.TYPE_RATE_SD, n.TYPE_LOG_RATE, n.ATTRIBUTE_RATE, n.ATTRIBUTE_RATE_SD
    )
    return UnseenType(dip - np.log(draws[n.FIRST_NIGHT].values), rate)


def _effects(
    has: list[str],
    effect: str,
    sd: str,
    draws: xr.Dataset,
    priors: Priors,
    rng: np.random.Generator,
) -> Floats:
    """Return what attribute values add, shape (S,): those fitted, and those that a group knows."""
    total = np.zeros(draws.sizes["sample"])
    if effect not in draws:
        return total
    fitted = [str(v) for v in draws[n.ATTRIBUTE_VALUE].values]
    for value in has:
        belief = priors.of(effect, value)
        if value in fitted:
            total += draws[effect].values[:, fitted.index(value)]
        elif belief is not None:
            total += belief.mean + belief.sd * rng.standard_normal(len(total))
    return np.asarray(draws[sd].values * total)
