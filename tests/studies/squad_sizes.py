"""The same athletes in squads of several sizes: what each is told, alone and under the group.

Part of the study of squads (`python -m tests.studies.squads`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from slackwater.fitting.pooling.alone import Alone, alone_of, kept_of_each
from slackwater.fitting.pooling.pool import pool
from slackwater.fitting.sampling.fit import fit
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.generator import Made
from tests.studies.squad_athletes import athlete, season_of
from tests.studies.squad_judging import of_alone, of_athletes, of_group
from tests.studies.squad_stages import fitted_again

SIZES: Final = (6, 20, 60)
_SQUADS: Final = 900  # apart from those of the rest of the study


def by_size(squad: int) -> dict[str, Any]:
    """Judge one of the largest squads, and its athletes as several of each smaller size."""
    made = [athlete(_SQUADS + squad, place) for place in range(SIZES[-1])]
    seasons = [season_of(each) for each in made]
    alone = [_kept_by_size(season, place) for place, season in enumerate(seasons)]
    of_size = [*zip(*alone, strict=True)]
    return {
        "alone": of_alone(of_size[0], made),
        "sizes": [
            _in_squads_of(size, made, seasons, kept)
            for size, kept in zip(SIZES, of_size, strict=True)
        ],
    }


def _kept_by_size(season: Season, seed: int) -> list[Alone]:
    """Fit an athlete alone, and return what is kept of one in a squad of each size."""
    posterior = fit(season, priors=Priors(), seed=seed, cores=1)
    return [alone_of(posterior, season, most=kept_of_each(size)) for size in SIZES]


def _in_squads_of(
    size: int, made: Sequence[Made], seasons: Sequence[Season], alone: Sequence[Alone]
) -> dict[str, Any]:
    found: dict[str, Any] = {"size": size, "days": [], "groups": [], "again": 0}
    for first in range(0, len(made), size):
        its = slice(first, first + size)
        before = pool(alone[its])
        after = pool(fitted_again(before, seasons[its], alone[its]))
        found["days"] += of_athletes(after, made[its])
        found["groups"].append(of_group(after.population))
        found["again"] += len(before.again)
    return found
