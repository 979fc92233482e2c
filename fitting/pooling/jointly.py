"""Athletes and their group learnt together, readings and all: what pooling is held to.

The log density of the whole is that of each athlete's own model, as it is compiled for one athlete,
with what is believed of a single athlete taken out and what the group believes put in:

    sum over athletes of [ log p(readings, athlete) + sum of log N(t; a w, b^2) - log N(t) ]

where t is a quantity's standard score under the priors, w ~ N(0, 1) the group's mean of it,
b^2 ~ Uniform(0, 1) the share between athletes and a^2 = 1 - b^2. So nothing of the model is stated
twice, and a group of which nothing is known (b = 1) is as many single athletes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from nutpie.compiled_pyfunc import from_pyfunc

from slackwater.fitting.pooling.alone import alone_of_draws
from slackwater.fitting.pooling.joint_density import JointDensity
from slackwater.fitting.pooling.pool import OfGroup, Pooled
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.fitting.sampling.fit import TARGET_ACCEPT, check, sampled
from slackwater.fitting.sampling.machine_code import POINT
from slackwater.fitting.sampling.naming import named_draws
from slackwater.fitting.sampling.posterior import FitChecks, flat
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.errors import QuestionError
from slackwater.model.population import BY_NAME, Population
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]

MOST_ATHLETES: Final = 30  # beyond, pooling in two stages tells the same in a fraction of the time
# Steps double with it. Once warm, draws take 5 or 6; far from where it settles a chain would take
# ten for its first draws, a third of all steps of a short run.
_MAX_DEPTH: Final = 7


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
    draws: int = 500,
    tune: int = 400,
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
        tune: draws before them.
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
    joint = JointDensity([compiled_for(season, priors) for season in seasons], seasons, priors)
    points, stats = _sample(joint, seed, draws, tune, chains, cores)
    return _joint(joint, seasons, priors, points, stats)


def _sample(
    joint: JointDensity, seed: int, draws: int, tune: int, chains: int, cores: int | None
) -> tuple[Floats, xr.Dataset]:
    def start(seed: int) -> Floats:
        return joint.start + np.random.default_rng(seed).uniform(-0.3, 0.3, len(joint.start))

    def expand(*seeds: int) -> Callable[[Floats], dict[str, Floats]]:
        return lambda point: {POINT: point}

    size = len(joint.start)
    model = from_pyfunc(
        size,
        joint.density,
        expand,
        [np.dtype(np.float64)],
        [(size,)],
        [POINT],
        make_initial_point_fn=start,
    )
    drawn, stats = sampled(
        model,
        draws=draws,
        tune=tune,
        chains=chains,
        cores=cores,
        seed=seed,
        target_accept=TARGET_ACCEPT,
        maxdepth=_MAX_DEPTH,
        low_rank_modified_mass_matrix=True,  # the group's means go along with their athletes'
    )
    return drawn[POINT].values, stats


def _joint(
    joint: JointDensity, seasons: Sequence[Season], priors: Priors, points: Floats, stats: Any
) -> Joint:
    chains, draws = points.shape[:2]
    flat_points = points.reshape(chains * draws, -1)
    population = joint.population(flat_points)
    every = joint.athletes(flat_points)
    athletes, judged = [], {}
    for place, (season, values) in enumerate(zip(seasons, every, strict=True)):
        model, code, _ = compiled_for(season, priors)
        named = named_draws(model, code, values.reshape(chains, draws, -1))
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
    return Joint(Pooled(population, tuple(athletes)), check(dataset, stats))


def _of_population(population: Population) -> dict[str, Floats]:
    known = {
        name: values
        for name, values in population.means.items()
        if values.size and not BY_NAME[name].dim
    }
    known |= {name: v for name, v in population.means.items() if BY_NAME[name].dim and v.size}
    spreads = {f"spread of {name}": population.spreads[name] for name in known}
    return {**known, **spreads}
