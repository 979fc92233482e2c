"""What is learnt of a season, and again where that leaves something unexplained."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import version
from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.sampling.ordinary import ordinary
from slackwater.fitting.sampling.posterior import FitChecks, Posterior, by_chain, flat
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.paths import last_night
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from slackwater.model.unexplained import Stretch, Watched, stretches_in

_VERSIONS: Final = ("slackwater", "pymc", "pytensor", "nutpie", "numpy", "xarray")


class Learnt(NamedTuple):
    """What one model of a season gave: that of what is unexplained in it."""

    season: Season
    priors: Priors
    explained: tuple[Stretch, ...]
    groups: dict[str, xr.Dataset]
    checks: FitChecks
    last: xr.Dataset
    levels: NDArray[np.float64]

    @classmethod
    def of(
        cls,
        season: Season,
        priors: Priors,
        explained: tuple[Stretch, ...],
        groups: dict[str, xr.Dataset],
        checks: FitChecks,
    ) -> Learnt:
        """Return it with the state on the last night.

        Args:
            season: the fitted season.
            priors: what was believed beforehand.
            explained: the nights that the model takes as unexplained by the log.
            groups: the posterior's, by name.
            checks: how the sampler fared.
        """
        draws, design = flat(groups["posterior"]), design_of(season)
        last, levels = last_night(draws, season, design, priors, explained)
        return cls(season, priors, explained, groups, checks, last, levels)

    def watched(self) -> Watched:
        """Return what is to be watched."""
        return ordinary(flat(self.groups["posterior"]), self.levels, self.priors)

    def stretches(self) -> tuple[Stretch, ...]:
        """Return the nights that stand out."""
        return stretches_in(self.season, self.watched(), self.priors)


Learn = Callable[[tuple[Stretch, ...]], Learnt]


def watched_posterior(
    season: Season, priors: Priors, seed: int, learn: Learn, briefly: Learn
) -> Posterior:
    """Return the posterior of a season, in which what is unexplained has its place.

    Args:
        season: the season, up to its last reading.
        priors: what is believed beforehand.
        seed: of the draws.
        learn: learns from the season, given what is unexplained in it.
        briefly: the same, good for medians alone.
    """
    learnt = learn(())
    suspected = learnt.stretches()
    if suspected:  # a short run tells whether they stay, once all else is learnt apart from them
        confirmed = briefly(suspected).stretches()
        if confirmed:
            learnt = learn(confirmed)
    versions = xr.Dataset(attrs={f"{name}_version": version(name) for name in _VERSIONS})
    last = by_chain(learnt.last, learnt.groups["posterior"].sizes[n.CHAIN])
    return Posterior(
        tree=xr.DataTree.from_dict({"/": versions, **learnt.groups, "last_night": last}),
        season_name=season.name,
        fingerprint=season.fingerprint(),
        last_night=season.last_night,
        seed=seed,
        checks=learnt.checks,
        priors=priors,
        stretches=learnt.explained,
        watched=learnt.watched(),
    )
