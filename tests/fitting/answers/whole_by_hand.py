"""Posteriors made by hand with all that the past is worked out from."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from slackwater.fitting import Athlete, Posterior
from slackwater.model import names as n
from slackwater.model.design import long_gaps
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known


def whole_posterior(
    season: Season,
    known: Known,
    draws: int = 200,
    session_z: Any = 0.0,
    prior: Belief | None = None,
    **parameters: float,
) -> Posterior:
    """Return a posterior that says just this of a season; each draw the same."""
    made = by_hand.posterior(season, known, draws)
    fitted = season.observed()
    size = (by_hand.CHAINS, draws)
    more: dict[str, Any] = {
        n.START_DIP: ((n.CHAIN, n.DRAW), np.full(size, parameters.get("start_dip", 1e-9))),
        n.START_LOG_RATE: ((n.CHAIN, n.DRAW), np.full(size, -1.0)),
        n.NIGHT_SCALE: ((n.CHAIN, n.DRAW, n.READING), np.zeros((*size, int(fitted.read.sum())))),
    }
    count = len(fitted.session_nights())
    if count:
        z = np.broadcast_to(np.asarray(session_z, float), (*size, count))
        more[n.SESSION_Z] = ((n.CHAIN, n.DRAW, n.SESSION), z)
    if len(fitted.stressor_nights()):
        z = np.zeros((*size, len(fitted.stressor_nights())))
        more[n.STRESSOR_Z] = ((n.CHAIN, n.DRAW, n.STRESSOR_DAY), z)
    if gaps := len(long_gaps(fitted).every_night):  # nothing was forgotten
        more[n.UNLOGGED_DIP] = ((n.CHAIN, n.DRAW, n.UNLOGGED_NIGHT), np.zeros((*size, gaps)))
        more[n.TYPE_RATE_MEAN] = ((n.CHAIN, n.DRAW), np.zeros(size))
    tree = made.tree.copy()
    tree["posterior"] = xr.DataTree(tree["posterior"].to_dataset().assign(more))
    priors = Priors() if prior is None else Priors(baseline=prior)
    return replace(made, tree=tree, priors=priors)


def whole_athlete(season: Season, known: Known, **more: Any) -> Athlete:
    """Return the athlete of a season with such a posterior; takes what that takes."""
    return Athlete(season, whole_posterior(season, known, **more))
