"""What readings say as a normal factor: exact for normal draws, bounded where they say little."""

from __future__ import annotations

from dataclasses import replace

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
    under_prior = site.precision + np.linalg.inv(covariance)
    middle = np.linalg.solve(under_prior, site.pull + np.linalg.solve(covariance, mean))
    assert (middle - mean)[1] == pytest.approx(-0.4 * sd, rel=0.1)
    # The site's own middle: no further than two SDs, each way, of where the prior expects it.
    pull = site.pull - site.precision @ mean
    expected = site.precision @ covariance @ site.precision + site.precision
    assert pull @ np.linalg.solve(expected, pull) < 4 * len(mean) + 1e-6


def test_readings_that_tell_little_are_not_taken_to_tell_more() -> None:
    """Over many athletes whose readings tell a twentieth of what the prior does."""
    rng = np.random.default_rng(3)
    athletes = [alone(place, PRIORS) for place in range(2)]
    layout = Layout.of(athletes)
    prior = prior_of_draws(athletes[0], layout, 0)
    mean, covariance = prior.moments()
    root = np.linalg.cholesky(covariance)
    told = []
    for _ in range(300):
        shift = rng.standard_normal(len(mean)) * np.sqrt(0.05 / 1.05)
        z = shift + rng.standard_normal((4000, len(mean))) / np.sqrt(1.05)
        site = site_of(replace(athletes[0], values=mean + z @ root.T), prior)
        told.append(np.diag(root.T @ site.precision @ root))
    assert np.mean(told) == pytest.approx(0.05, rel=0.25)
