"""A season's posterior from a few hundred draws in a fraction of a second.

For simulated seasons by the hundred, of which only the whole tells something; an athlete's own is
learnt by `fit`. It is the same model, compiled once for all seasons of a make-up, and the same
posterior, drawn by `hamiltonian` instead of a sampler that has to find its way for itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from contextlib import AbstractContextManager, nullcontext
from functools import partial
from itertools import islice
from typing import Any, Final, NamedTuple

import numpy as np
import pymc as pm
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.sampling.fit import TAILS, fit, identity
from slackwater.fitting.sampling.hamiltonian import STUCK, Drawn, draw
from slackwater.fitting.sampling.learnt import Learnt, watched_posterior
from slackwater.fitting.sampling.machine_code import MachineCode, compile_model
from slackwater.fitting.sampling.naming import constant, named_draws
from slackwater.fitting.sampling.posterior import FitChecks, Posterior
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.priors import GroupPriors, Priors
from slackwater.model.recovery import build_model, put_season
from slackwater.model.season import Season
from slackwater.model.unexplained import Stretch

MANY: Final = 40  # a variable of more numbers than this has one for each session, night or so
DRAWS: Final = 20  # of each chain in a round; one is good for medians alone
LEAST: Final = 2  # rounds, and one more while the chains disagree
MOST: Final = 10


def fit_briefly(season: Season, *, priors: Priors, seed: int) -> Posterior:
    """Return the posterior of a season, good for what it says of measures.

    Where chains disagree about these, more is drawn; where they still do, it is that of `fit`.

    Args:
        season: enough readings for a fit.
        priors: what is believed beforehand.
        seed: the same seed gives the same draws.
    """
    season = season.observed()

    def learn(stretches: tuple[Stretch, ...], least: int = LEAST, most: int = MOST) -> Learnt:
        compiled = compiled_for(season, priors, stretches)
        model, rounds = compiled.model, compiled.rounds(seed, DRAWS)
        for drawn in islice(rounds, least - 1, most):
            posterior = named_draws(model, compiled.code, drawn.points)
            checks = _check(posterior)
            if checks.usable and drawn.accepted > STUCK:
                break
        groups = {"posterior": posterior, "constant_data": constant(model)}
        return Learnt.of(season, priors, stretches, groups, checks)

    found = watched_posterior(season, priors, seed, learn, partial(learn, least=1, most=1))
    if found.checks.usable:
        return found
    return fit(season, priors=priors, seed=seed, draws=1500, chains=2, cores=1)


class Compiled(NamedTuple):
    """A model, its code, and where its variables begin, on average."""

    model: pm.Model
    code: MachineCode
    start: list[float]

    @property
    def core(self) -> NDArray[np.bool_]:
        """Which parameters there is not one of for each session, night or so."""
        of_nights = [n.UNLOGGED_DIP in name for name in self.code.names]
        many = (np.array(self.code.lengths) > MANY) | of_nights
        return ~np.repeat(many, self.code.lengths)

    def rounds(self, seed: int, draws: int) -> Iterator[Drawn]:
        """Yield so many draws of each chain, and more of them for as long as more is asked for."""
        middle = np.repeat(self.start, self.code.lengths)
        return draw(self.code.densities(), middle, self.core, seed, draws)


# What a process knows by now. Where several begin at once, each has its model made while the others
# wait, so that the first compiles for all.
_known: dict[Hashable, Compiled] = {}
_turn: AbstractContextManager[Any] = nullcontext()


def take_turns(lock: AbstractContextManager[Any]) -> None:
    """Make models in this process only while holding a lock that other processes share."""
    global _turn
    _turn = lock


def compiled_for(season: Season, priors: Priors, stretches: tuple[Stretch, ...] = ()) -> Compiled:
    """Return the model of a season and its code: a known one with new data, or a new one.

    The code keeps its data when the same model is given another season; the model does not.

    Args:
        season: up to its last reading.
        priors: what is believed beforehand.
        stretches: nights that the log does not explain.
    """
    beliefs = GroupPriors if isinstance(priors, GroupPriors) else priors  # a group's are data
    key = beliefs, *(np.size(values) > 0 for values in design_of(season))
    if key not in _known:
        with _turn:
            model = build_model(season, priors, stretches)
            code = compile_model(model, identity(priors))
        pieces = np.split(code.initial, np.cumsum(code.lengths)[:-1])
        _known[key] = Compiled(model, code, [float(np.mean(piece)) for piece in pieces])
    known = _known[key]
    put_season(known.model, season, priors, stretches)
    return known._replace(code=known.code.reading(known.model))


def _check(posterior: xr.Dataset) -> FitChecks:
    """Judge the draws of measures' effects; of the noise where there is no measure.

    By the split R-hat of their ranks alone: that of their distances from the middle is too noisy
    with so few draws.
    """
    import arviz_stats

    asked = posterior[n.LOG_RATE_RATIO if n.LOG_RATE_RATIO in posterior else n.NOISE_SD]
    return FitChecks(
        divergences=0,
        draws=asked.sizes[n.CHAIN] * asked.sizes[n.DRAW],
        worst_rhat=float(arviz_stats.rhat(asked, method="z_scale").max()),
        worst_bulk_ess=float(arviz_stats.ess(asked, method="bulk").min()),
        worst_tail_ess=float(arviz_stats.ess(asked, method="tail", prob=TAILS).min()),
    )
