"""What is said of squads with known truth, judged: the group, its athletes, and each alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.alone import Alone
from slackwater.fitting.pooling.pool import Pooled
from slackwater.model import names as n
from slackwater.model.population import Population
from tests.studies.generator import TYPES, Made
from tests.studies.squad_athletes import HALF_LIVES, NOISE, OF_GROUP, judged

Floats = NDArray[np.float64]


def truths() -> dict[str, float]:
    """Return the group's true means and spreads, on the logarithm's scale."""
    noise = np.log(np.linspace(*NOISE, 10_001))
    found = {"mean of noise": noise.mean(), "spread of noise": noise.std()}
    for name, of in (("scatter", "scatter"), ("drift", "drift"), ("tail", "tail")):
        found[f"mean of {name}"] = math.log(OF_GROUP[of][0])
        found[f"spread of {name}"] = OF_GROUP[of][1]
    log_rate = math.log(math.log(2)) - np.log(HALF_LIVES).mean()
    spreads = []
    for label, heights in TYPES.items():
        found[f"mean log dip of {label}"] = np.log(heights).mean()
        found[f"mean log rate of {label}"] = log_rate
        spreads.append(np.ptp(np.log(heights)) / math.sqrt(12))
    found["spread of log dips"] = math.sqrt(np.square(spreads).mean())
    found["spread of log rates"] = np.ptp(np.log(HALF_LIVES)) / math.sqrt(12)
    return {name: float(value) for name, value in found.items()}


def learnt(group: Population) -> dict[str, Floats]:
    """Return draws of the same."""
    found = {}
    of = {"noise": n.NOISE_SD, "scatter": n.SESSION_SD, "drift": n.DRIFT_SD, "tail": n.NOISE_TAIL}
    for name, quantity in of.items():
        found[f"mean of {name}"] = group.typical(quantity)
        found[f"spread of {name}"] = group.spreads[quantity]
    for label in TYPES:
        dip = group.typical(n.TYPE_DIP_MEAN) + group.typical(n.TYPE_LOG_DIP, label)
        found[f"mean log dip of {label}"] = dip - group.typical(n.FIRST_NIGHT)
        found[f"mean log rate of {label}"] = group.typical(n.TYPE_RATE_MEAN) + group.typical(
            n.TYPE_LOG_RATE, label
        )
    for what, mean, each in (
        ("dips", n.TYPE_DIP_MEAN, n.TYPE_LOG_DIP),
        ("rates", n.TYPE_RATE_MEAN, n.TYPE_LOG_RATE),
    ):
        found[f"spread of log {what}"] = np.hypot(group.spreads[mean], group.spreads[each])
    return found


def of_group(group: Population) -> dict[str, Any]:
    """Judge what is learnt of a group."""
    draws = learnt(group)
    return {name: judged(draws[name], truth) for name, truth in truths().items()}


def of_athletes(pooled: Pooled, squad: Sequence[Made]) -> list[dict[str, Any]]:
    """Judge each athlete's days, by type."""
    return [
        judged(each.typical_days(label), made.days[label])
        for each, made in zip(pooled.athletes, squad, strict=True)
        for label in each.types
    ]


def of_alone(alone: Sequence[Alone], squad: Sequence[Made]) -> list[dict[str, Any]]:
    """Judge each athlete's days as fitted alone, by type."""
    return [
        judged(days_alone(each, label), made.days[label])
        for each, made in zip(alone, squad, strict=True)
        for label in TYPES
    ]


def days_alone(alone: Alone, label: str) -> Floats:
    """Return draws of days to recover from a type's typical session, of one fitted alone."""
    dip = alone.column(n.TYPE_LOG_DIP, label) - alone.column(n.FIRST_NIGHT)
    over = np.log(2.0) + dip - alone.column(n.NOISE_SD)
    return np.asarray(1 + np.maximum(0, over / np.exp(alone.column(n.TYPE_LOG_RATE, label))))
