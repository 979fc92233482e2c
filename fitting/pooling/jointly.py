"""Athletes and their group learnt together, readings and all: what pooling is held to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.apart import apart
from slackwater.fitting.pooling.alone import alone_of_draws
from slackwater.fitting.pooling.joint_chain import ChainDrawn, JointChain
from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.pool import OfGroup, Pooled
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.fitting.sampling.fit import check
from slackwater.fitting.sampling.naming import named_draws
from slackwater.fitting.sampling.posterior import FitChecks, flat
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.errors import QuestionError
from slackwater.model.population import Population
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]

ALONE: Final = 10  # draws of each of several chains of an athlete alone, before all are joined
MOST_ATHLETES: Final = 30  # takes some three minutes on two cores; of more, draws fill the memory


@dataclass(frozen=True)
class Joint:
    """Athletes and their group, learnt together.

    Attributes:
        pooled: as pooling in two stages gives them; all draws count the same.
        checks: how the sampler fared, over all that athletes share.
    """

    pooled: Pooled
    checks: FitChecks


def fit_jointly(
    seasons: Sequence[Season],
    *,
    priors: Priors | None = None,
    seed: int = 0,
    draws: int = 1900,
    tune: int = 200,
    chains: int = 4,
    cores: int | None = None,
) -> Joint:
    """Sample the posterior of athletes and their group, given all readings.

    Nights that the log does not explain are not looked for; who has any is fitted alone and pooled.

    Args:
        seasons: one an athlete, each of half a year at most.
        priors: what is believed of an athlete of whose group nothing is known.
        seed: the same seed gives the same draws.
        draws: draws kept in each chain.
        tune: draws before them, with which each chain warms up.
        chains: number of chains.
        cores: chains sampled at once; all the machine's cores if left out.

    Raises:
        QuestionError: too few or too many seasons, or one of more than half a year.
    """
    if not 2 <= len(seasons) <= MOST_ATHLETES:
        raise QuestionError(
            f"Between 2 and {MOST_ATHLETES} athletes can be fitted jointly, not {len(seasons)}. "
            "More are fitted each alone and then pooled."
        )
    priors = priors or Priors()
    seasons = [season.observed() for season in seasons]
    for season in seasons:
        if design_of(season).trend.size:
            raise QuestionError(
                f"{season.name} is longer than half a year, in which recovery itself may change. "
                "Give a shorter season, or fit each athlete alone and pool them."
            )
    run = partial(apart, chain_of, seasons, priors)
    seeds = np.random.default_rng(seed).integers(2**31, size=chains).tolist()
    with ThreadPoolExecutor(cores or os.cpu_count()) as at_once:
        runs = [at_once.submit(run, each, draws, tune, seconds=None, memory=None) for each in seeds]
        return _joint(seasons, priors, [each.result() for each in runs])


def _joint(seasons: Sequence[Season], priors: Priors, drawn: Sequence[ChainDrawn]) -> Joint:
    chains, draws = len(drawn), len(drawn[0].parameters)
    joint = JointDensity([compiled_for(each, priors) for each in seasons], seasons, priors)
    groups = Group(
        *(np.concatenate(parts) for parts in zip(*(c.groups for c in drawn), strict=True))
    )
    population = joint.population(groups)
    athletes, judged = [], {}
    for place, season in enumerate(seasons):
        own = np.array([each.parameters[:, joint.own(place)] for each in drawn])
        compiled = compiled_for(season, priors)  # anew: what athletes share holds the last one's
        named = named_draws(compiled.model, compiled.code, own)
        alone = alone_of_draws(flat(named), season, priors, most=chains * draws)
        even = np.full(len(alone.values), 1.0 / len(alone.values))
        athletes.append(OfGroup(alone, even, 0.0, alone.values))
        judged[f"athlete {place}"] = alone.values
    judged |= _of_population(population)
    dataset = xr.Dataset(
        {
            name: ((n.CHAIN, n.DRAW, f"{name} of"), values.reshape(chains, draws, -1))
            for name, values in judged.items()
        }
    )
    lost = xr.Dataset({"diverging": (n.CHAIN, [each.divergences for each in drawn])})
    return Joint(Pooled(population, tuple(athletes)), check(dataset, lost))


def chain_of(
    seasons: Sequence[Season], priors: Priors, seed: int, draws: int, tune: int
) -> ChainDrawn:
    """Return draws of one chain, in a process of its own: in one they wait for each other."""
    compiled = [compiled_for(season, priors) for season in seasons]
    joint = JointDensity(compiled, seasons, priors)
    drawn = [next(each.rounds(seed + at, ALONE)).points for at, each in enumerate(compiled)]
    alone = np.concatenate([points.reshape(-1, points.shape[-1]) for points in drawn], axis=1)
    core = np.concatenate([each.core for each in compiled])
    return JointChain(joint, alone, core, seed).draw(tune, draws)


def _of_population(population: Population) -> dict[str, Floats]:
    known = {name: values for name, values in population.means.items() if values.size}
    spreads = {f"spread of {name}": population.spreads[name] for name in known}
    return {**known, **spreads}
