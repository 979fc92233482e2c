"""What readings say as a normal factor: exact for normal draws, bounded where they say little."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting.pooling.sites import Layout, prior_of_draws, site_of
from tests.fitting.pooling.test_pool import ERRORS, PRIORS, TRUE, alone


def test_normal_draws_give_back_what_readings_say() -> None:
    athletes = [alone(place, PRIORS) for place in range(2)]
    layout = Layout.of(athletes)
    site = site_of(athletes[0], prior_of_draws(athletes[0], layout, 0))
    assert site.precision[0, 0] == pytest.approx(ERRORS[0] ** -2, rel=0.05)
    assert site.pull[0] / site.precision[0, 0] == pytest.approx(TRUE[0], abs=0.05)
    assert np.linalg.eigvalsh(site.precision).min() > -1e-9


def test_what_moves_the_middle_and_narrows_nothing_says_nothing_far_away() -> None:
    athletes = [alone(place, PRIORS) for place in range(2)]
    layout = Layout.of(athletes)
    athlete = athletes[0]
    prior = prior_of_draws(athlete, layout, 0)
    mean, covariance = prior.moments()
    sd = np.sqrt(covariance[1, 1])
    moved = athlete.values.copy()
    moved[:, 1] = mean[1] - 0.4 * sd + 1.05 * (moved[:, 1] - moved[:, 1].mean())
    athlete.values[:] = moved
    site = site_of(athlete, prior)
    assert site.precision[1, 1] * sd**2 > 0.1
    middle = np.linalg.solve(site.precision + np.linalg.inv(covariance), site.pull + mean / sd**2)
    assert np.isfinite(middle).all()
    assert -4 < (site.pull[1] / site.precision[1, 1] - mean[1]) / sd < -1
