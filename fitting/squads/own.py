"""How much of what an athlete is told is the athlete's own, beside what a group tells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.state.athlete import Athlete
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.population import Population, own_share


@dataclass(frozen=True)
class OwnPart:
    """One type of an athlete who was fitted with what a group tells.

    Attributes:
        type: the type.
        typical_days: days to recover from a typical session of it.
        own_share: how much of what the group leaves open the athlete's own readings settle, 0 to
            1; None where the group does not know the type.
    """

    type: str
    typical_days: Interval
    own_share: float | None


def own_parts(
    athlete: Athlete, population: Population, level: float = DEFAULT_LEVEL
) -> tuple[OwnPart, ...]:
    """Return how much of an athlete's days to recover is the athlete's own, by type.

    Args:
        athlete: fitted with what the population tells.
        population: the one.
        level: credible mass of every interval.
    """
    now, days = athlete.now, typical_days(athlete.now)
    has = design_of(now.season.through(athlete.posterior.last_night)).type_has_value
    values = [str(v) for v in now.draws[n.ATTRIBUTE_VALUE].values] if has.size else []
    rng = np.random.default_rng(0)
    found = []
    for number, label in enumerate(now.types):
        own = days[:, number]
        share = None
        if label in population.labels[n.TYPE_LOG_DIP]:
            mine = [v for v, there in zip(values, has[number], strict=True) if there]
            share = own_share(np.log(own), np.log(population.days_of_another(label, rng, mine)))
        found.append(OwnPart(label, interval(own, level), share))
    return tuple(found)
