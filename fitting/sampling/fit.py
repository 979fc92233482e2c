"""From a season to its posterior."""

from __future__ import annotations

import inspect
import os
from collections.abc import Callable
from typing import Any, Final, NamedTuple

import numpy as np
import nutpie
import pymc as pm
import xarray as xr

from slackwater.fitting.sampling.learnt import Learnt, watched_posterior
from slackwater.fitting.sampling.machine_code import POINT, MachineCode, compile_model
from slackwater.fitting.sampling.naming import constant, named_draws, observed
from slackwater.fitting.sampling.posterior import FitChecks, Posterior
from slackwater.model import likelihood, pooling, recovery
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import GroupPriors, Priors
from slackwater.model.recovery import build_model
from slackwater.model.season import Season
from slackwater.model.unexplained import Stretch

FEWEST_READINGS: Final = 14
TUNE: Final = 400
ENOUGH: Final = 4000  # draws, by which mixing is judged as every answer is
BRIEF: Final = 300  # draws, and as many before them
TARGET_ACCEPT: Final = 0.9
CAREFUL: Final = (2000, 0.98)  # warm-up and target acceptance, where the first run fell short
TAILS: Final = (0.05, 0.95)  # of the tail ESS (Vehtari et al. 2021, Bayesian Analysis 16:667)
_KEPT_STATS: Final = {
    "diverging": "diverging",
    "energy": "energy",
    "logp": "lp",
    "n_steps": "n_steps",
    "depth": "tree_depth",
    "step_size": "step_size",
}

_GRAPH: Final = (likelihood, pooling, recovery)

Progress = Callable[[int, int], None]


def fit(
    season: Season,
    *,
    priors: Priors | None = None,
    seed: int | None = None,
    draws: int = 1000,
    chains: int = 4,
    cores: int | None = None,
    progress: Progress | None = None,
) -> Posterior:
    """Sample the posterior of a season.

    Where the sampler's checks find something to complain of that more draws alone would not
    mend, it runs once more, with a longer warm-up and smaller steps, and the better of the two
    is kept.

    Args:
        season: at least 14 readings.
        priors: what is believed beforehand; the defaults if left out.
        seed: the same seed gives the same draws; by default it follows from the season.
        draws: draws kept in each chain.
        chains: number of chains.
        cores: chains sampled at once; all the machine's cores if left out.
        progress: called with the draws finished and the draws in all, warm-up included.

    Raises:
        NoAnswerError: too few readings for any answer.
        QuestionError: too few draws or chains asked for.
    """
    season = season.observed()
    readings = int(season.read.sum())
    if readings < FEWEST_READINGS:
        raise NoAnswerError(
            Reason(
                "too few readings", season=season.name, readings=readings, needed=FEWEST_READINGS
            )
        )
    if draws < 100 or chains < 2:
        raise QuestionError("A fit needs at least 100 draws and 2 chains to be judged by.")
    fingerprint = season.fingerprint()
    seed = int(fingerprint[:7], 16) if seed is None else seed
    priors = priors or Priors()
    sampling = _Sampling(season, priors, seed, draws, chains, cores, progress, TUNE)
    return watched_posterior(season, priors, seed, sampling.learn, sampling.briefly().learn)


class _Sampling(NamedTuple):
    """How a season is sampled, whatever is unexplained in it."""

    season: Season
    priors: Priors
    seed: int
    draws: int
    chains: int
    cores: int | None
    progress: Progress | None
    tune: int

    def briefly(self) -> _Sampling:
        """Return a run that is good for medians alone."""
        return self._replace(draws=BRIEF, tune=BRIEF, chains=2)

    def learn(self, stretches: tuple[Stretch, ...]) -> Learnt:
        model = build_model(self.season, self.priors, stretches)
        compiled = compile_model(model, identity(self.priors), self.progress)
        cores = self.cores or min(self.chains, os.cpu_count() or 1)
        run = _Run(model, compiled, self.draws, self.chains, cores)
        groups, checks = run.sample(self.seed, self.tune, TARGET_ACCEPT)
        if _struggled(checks) and self.tune == TUNE:
            again = run.sample(self.seed, *CAREFUL)
            if _flaws(again[1]) < _flaws(checks):
                groups, checks = again
        return Learnt.of(self.season, self.priors, stretches, groups, checks)


class _Run(NamedTuple):
    """A compiled model and how much to draw from it."""

    model: pm.Model
    compiled: MachineCode
    draws: int
    chains: int
    cores: int

    def sample(
        self, seed: int, tune: int, target_accept: float
    ) -> tuple[dict[str, xr.Dataset], FitChecks]:
        """Return the posterior's groups, by name, and how the sampler fared."""
        drawn, stats = sampled(
            self.compiled,
            draws=self.draws,
            tune=tune,
            chains=self.chains,
            cores=self.cores,
            seed=seed,
            target_accept=target_accept,
        )
        posterior = named_draws(self.model, self.compiled, drawn[POINT].values)
        stats = stats[list(_KEPT_STATS)].rename(_KEPT_STATS)
        groups = {
            "posterior": posterior,
            "sample_stats": stats.drop_vars([c for c in stats.coords if c not in stats.dims]),
            "observed_data": observed(self.model),
            "constant_data": constant(self.model),
        }
        return groups, check(posterior, stats)


def sampled(compiled: Any, **how: Any) -> tuple[xr.Dataset, xr.Dataset]:
    """Return what nutpie draws from a compiled model after its warm-up, and how it fared.

    Args:
        compiled: the model.
        **how: `draws`, `tune`, `chains`, `cores`, `seed`, `target_accept` and whatever else nutpie
            takes.
    """
    raw = nutpie.sample(compiled, progress_bar=False, save_warmup=False, **how)
    tree = raw if isinstance(raw, xr.DataTree) else raw.to_datatree()
    return tree["posterior"].to_dataset(), tree["sample_stats"].to_dataset()


def _struggled(checks: FitChecks) -> bool:
    """Return whether there is something to complain of that more draws alone would not mend."""
    asked = min(1.0, checks.draws / ENOUGH)
    return not (
        checks.divergences == 0
        and checks.worst_rhat <= 1 + 0.01 / asked
        and checks.worst_ess >= 400 * asked
    )


def _flaws(checks: FitChecks) -> tuple[bool, int, int]:
    """Return what to rank two runs by; the smaller is the better."""
    return not checks.usable, len(checks.complaints), checks.divergences


def identity(priors: Priors) -> str:
    """Return what the model's graph depends on beside its variables and data."""
    beliefs = "of a group, as data" if isinstance(priors, GroupPriors) else repr(priors)
    return "\n".join([beliefs, *(inspect.getsource(module) for module in _GRAPH)])


def check(posterior: xr.Dataset, stats: xr.Dataset) -> FitChecks:
    """Judge draws by ArviZ's split R-hat and effective sample sizes.

    Each night's own noise scale is left out: no answer rests on one of them, and several
    hundred of them would hide what the rest says.
    """
    import arviz_stats  # slow to import, so only here

    posterior = posterior.drop_vars(n.NIGHT_SCALE, errors="ignore")

    def worst(values: xr.Dataset, pick: Callable[[Any], Any]) -> float:
        return float(pick([pick(v.values) for v in values.data_vars.values() if v.size]))

    return FitChecks(
        divergences=int(stats["diverging"].sum()),
        draws=posterior.sizes[n.CHAIN] * posterior.sizes[n.DRAW],
        worst_rhat=worst(arviz_stats.rhat(posterior), np.max),
        worst_bulk_ess=worst(arviz_stats.ess(posterior, method="bulk"), np.min),
        worst_tail_ess=worst(arviz_stats.ess(posterior, method="tail", prob=TAILS), np.min),
    )
