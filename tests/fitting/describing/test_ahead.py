"""One-step errors against statsmodels, and as independent standard normal numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.tsa.statespace.structural import UnobservedComponents

from slackwater.fitting.describing.ahead import one_step_errors
from slackwater.model.priors import Belief
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_athlete

LEVEL = Belief(3.9, 0.6)


def walked(nights: int, noise: float, drift: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    level = 4.0 + np.cumsum(drift * rng.standard_normal(nights))
    return np.asarray(level + noise * rng.standard_normal(nights))


def test_errors_are_those_of_statsmodels() -> None:
    """A gap in the readings, and a dip and a sensor's step that are known."""
    readings = walked(60, 0.1, 0.02, seed=3)
    readings[20:23] = np.nan
    dip = np.r_[np.zeros(31), 0.3 * 0.5 ** (np.arange(29) / 2)]
    step = np.where(np.arange(60) < 40, 0.15, 0.0)
    season = by_hand.season(
        sessions=[(30, "row")],
        readings=readings - dip + step,
        sensors=["clip"] * 40 + ["strap"] * 20,
    )
    known = Known({"row": (0.3, 2.0)}, noise_sd=0.1, drift_sd=0.02, sensor_steps={"clip": 0.15})
    errors = one_step_errors(whole_athlete(season, known, draws=5, prior=LEVEL).past)
    model = UnobservedComponents(readings, "llevel")
    model.ssm.initialize_known(np.array([LEVEL.mean]), np.array([[LEVEL.sd**2]]))
    run = model.filter([0.01, 0.0004])
    read = np.flatnonzero(np.isfinite(readings))[1:]
    assert errors.nights.tolist() == read.tolist()
    expected = run.standardized_forecasts_error[0, read]
    for draw in errors.error:
        assert draw == pytest.approx(expected, abs=1e-7)
    sd = np.sqrt(run.forecasts_error_cov[0, 0, read])
    assert errors.sd[0] == pytest.approx(sd, rel=1e-7)
    assert errors.scale == pytest.approx(1.0)


def test_replicated_errors_are_independent_standard_normal_numbers() -> None:
    """Durbin & Koopman 2012, section 2.12; within 4 Monte Carlo errors, and by distribution."""
    season = by_hand.season(readings=walked(3000, 0.1, 0.02, seed=11))
    known = Known(noise_sd=0.1, drift_sd=0.02)
    error = one_step_errors(whole_athlete(season, known, draws=1).past).error[0]
    assert stats.kstest(error, "norm").pvalue > 0.001
    for lag in (1, 2, 7):
        assert abs(np.mean(error[lag:] * error[:-lag])) < 4 / np.sqrt(len(error))
