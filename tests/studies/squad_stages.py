"""Athletes of made squads fitted alone, and again under what their group knows."""

from __future__ import annotations

from collections.abc import Sequence

from slackwater.fitting.pooling.alone import Alone, alone_of, kept_of_each
from slackwater.fitting.pooling.pool import Pooled
from slackwater.fitting.sampling.fit import fit
from slackwater.model.priors import Priors
from slackwater.model.season import Season


def fitted(season: Season, priors: Priors, seed: int, athletes: int) -> Alone:
    """Fit one of so many athletes, on one core."""
    posterior = fit(season, priors=priors, seed=seed, cores=1)
    return alone_of(posterior, season, most=kept_of_each(athletes))


def fitted_again(pooled: Pooled, seasons: Sequence[Season], alone: Sequence[Alone]) -> list[Alone]:
    """Return all athletes, those who must be fitted again fitted so, under what the group knows."""
    again, priors = list(alone), pooled.population.priors()
    for place in pooled.again:
        again[place] = fitted(seasons[place], priors, place, len(seasons))
    return again
