"""The same athletes in squads of several sizes: what each is told, alone and under the group.

Part of the study of squads (`python -m tests.studies.squads`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from slackwater.fitting.pooling.alone import Alone, kept_of_each
from slackwater.fitting.pooling.pool import pool
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.generator import TYPES, Made
from tests.studies.squad_athletes import athlete, judged, season_of
from tests.studies.squad_judging import days_alone, fitted, fitted_again, of_athletes, of_group

SIZES: Final = (6, 20, 60)
_SQUADS: Final = 900  # apart from those of the rest of the study


def by_size(squad: int) -> dict[str, Any]:
    """Judge one of the largest squads, and its athletes as several of each smaller size."""
    made = [athlete(_SQUADS + squad, place) for place in range(SIZES[-1])]
    seasons = [season_of(each) for each in made]
    alone = [fitted(season, Priors(), place, SIZES[0]) for place, season in enumerate(seasons)]
    days = [
        judged(days_alone(each, label), truth.days[label])
        for each, truth in zip(alone, made, strict=True)
        for label in TYPES
    ]
    return {"alone": days, "sizes": [_in_squads_of(size, made, seasons, alone) for size in SIZES]}


def _in_squads_of(
    size: int, made: Sequence[Made], seasons: Sequence[Season], alone: Sequence[Alone]
) -> dict[str, Any]:
    alone = [_thinned(each, kept_of_each(size)) for each in alone]
    found: dict[str, Any] = {"size": size, "days": [], "groups": [], "again": 0}
    for first in range(0, len(made), size):
        its = slice(first, first + size)
        before = pool(alone[its])
        after = pool(fitted_again(before, seasons[its], alone[its]))
        found["days"] += of_athletes(after, made[its])
        found["groups"].append(of_group(after.population))
        found["again"] += len(before.again)
    return found


def _thinned(alone: Alone, most: int) -> Alone:
    """Return what would have been kept of an athlete in a larger squad."""
    count = len(alone.values)
    chosen = np.unique(np.linspace(0, count - 1, min(most, count)).astype(int))
    return replace(alone, values=alone.values[chosen], rows=alone.rows[chosen])
