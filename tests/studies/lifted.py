"""One fit for measures that differ in their lift alone: a posterior moved along with the readings.

Readings that are higher by a known amount on the nights of use, and a lift that is higher by as
much, have the same likelihood: so the draws of one posterior, moved, are those of the other but
for the prior of the lift, by which they are weighed. They are drawn again by these weights.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.model import names as n
from slackwater.model.season import Season


def moved(posterior: Posterior, season: Season, by: float, seed: int) -> Posterior:
    """Return the posterior of a season whose readings are higher by so much on nights of use.

    Args:
        posterior: of the season as it was, of which the one measure is used on these nights.
        season: the season with higher readings.
        by: how much higher, ln.
        seed: of the draws.
    """
    groups = {name: group.to_dataset() for name, group in posterior.tree.children.items()}
    before, belief = groups["posterior"][n.LIFT].values, posterior.priors.lift
    assert before.shape[2] == 1, "one measure"
    z = (before[..., 0] - belief.mean) / belief.sd
    log_weights = 0.5 * (z**2 - (z + by / belief.sd) ** 2)
    weights = np.exp(log_weights - log_weights.max()).ravel()
    at = (np.random.default_rng(seed).uniform() + np.arange(weights.size)) / weights.size
    chosen = np.minimum(np.searchsorted(np.cumsum(weights) / weights.sum(), at), weights.size - 1)
    dims = (n.CHAIN, n.DRAW)
    which = {
        dim: xr.DataArray(places.reshape(z.shape), dims=dims)
        for dim, places in zip(dims, np.unravel_index(chosen, z.shape), strict=True)
    }
    for name in ("posterior", "last_night"):
        old = groups[name]
        groups[name] = old.drop_vars(dims).isel(which).assign_coords({d: old[d] for d in dims})
    groups["posterior"][n.LIFT] = groups["posterior"][n.LIFT] + by
    return replace(
        posterior,
        tree=xr.DataTree.from_dict({"/": posterior.tree.to_dataset(), **groups}),
        fingerprint=season.observed().fingerprint(),
    )
