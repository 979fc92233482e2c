"""The same athletes in squads of several sizes: what each is told, alone and under the group.

Part of the study of squads (`python -m tests.studies.squads`).
"""

from __future__ import annotations

from typing import Any, Final

from slackwater.fitting.pooling.pool import pool
from slackwater.model.priors import Priors
from tests.studies.generator import TYPES
from tests.studies.squad_athletes import athlete, judged, season_of
from tests.studies.squad_judging import days_alone, fitted, fitted_again, of_athletes, of_group

SIZES: Final = (6, 20, 60)
_SQUADS: Final = 900  # apart from those of the rest of the study


def by_size(squad: int) -> dict[str, Any]:
    """Judge one of the largest squads, and its athletes as several of each smaller size."""
    made = [athlete(_SQUADS + squad, place) for place in range(SIZES[-1])]
    seasons = [season_of(each) for each in made]
    alone = [fitted(season, Priors(), place) for place, season in enumerate(seasons)]
    days = [
        judged(days_alone(each, label), truth.days[label])
        for each, truth in zip(alone, made, strict=True)
        for label in TYPES
    ]
    return {"alone": days, "sizes": [_in_squads_of(size, made, seasons, alone) for size in SIZES]}


def _in_squads_of(size: int, made: Any, seasons: Any, alone: Any) -> dict[str, Any]:
    found: dict[str, Any] = {"size": size, "days": [], "groups": [], "again": 0}
    for first in range(0, len(made), size):
        its = slice(first, first + size)
        before = pool(alone[its])
        after = pool(fitted_again(before, seasons[its], alone[its]))
        found["days"] += of_athletes(after, made[its])
        found["groups"].append(of_group(after.population))
        found["again"] += len(before.again)
    return found
