"""PyMC's own sampler on the same model, as any PyMC user would run it."""

from __future__ import annotations

import arviz_stats
import numpy as np
import pymc as pm
import pytest
import xarray as xr

from slackwater.fitting import fit
from slackwater.model import names as n
from slackwater.model.recovery import build_model
from slackwater.model.season import DAY
from tests.fitting.conftest import Fitted

COMPARED = [n.NOISE_SD, n.DRIFT_SD, n.SESSION_SD, n.TYPE_LOG_DIP, n.TYPE_LOG_RATE]
COMPARED += [n.LOG_RATE_RATIO, n.START_DIP, n.FIRST_NIGHT]


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::UserWarning")  # PyMC's about short chains and object mode
def test_both_samplers_agree_within_monte_carlo_error(demo: Fitted) -> None:
    season = demo.season.through(demo.season.first_night + 90 * DAY)
    mine = fit(season, seed=1).tree["posterior"].to_dataset()
    with build_model(season):
        drawn = pm.sample(
            draws=300,
            tune=500,
            chains=2,
            cores=1,
            random_seed=1,
            nuts_sampler="pymc",
            target_accept=0.9,
            progressbar=False,
            compute_convergence_checks=False,
        )
    kept = drawn["posterior"]  # a Dataset before ArviZ 1.0, part of a tree from then on
    theirs = kept.to_dataset() if isinstance(kept, xr.DataTree) else kept
    for name in COMPARED:
        errors = [arviz_stats.mcse(draws[[name]], method="mean")[name] for draws in (mine, theirs)]
        apart = mine[name].mean(("chain", "draw")) - theirs[name].mean(("chain", "draw"))
        # Each of some 20 numbers within 5 Monte Carlo errors: 1e-5 by chance.
        assert np.all(np.abs(apart) < 5 * np.hypot(*errors)), name
