"""Scores: standard normal over seasons, and the score test of an added variable."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from slackwater.fitting.describing.scores import (
    bound_of,
    chance_of,
    normal_scores,
    quantiles,
    score,
    share_below,
    within,
)


def test_a_score_is_the_generalised_least_squares_test_of_an_added_variable() -> None:
    """Readings round a level of unknown height; some of them lie lower, which nobody fitted.

    statsmodels' GLS with the level integrated out tests that shift; so does the mean over draws
    of the level, by the law of total variance.
    """
    rng = np.random.default_rng(4)
    count, prior = 40, 0.5
    shifted = (np.arange(count) % 4 == 0).astype(float)
    readings = 0.3 - 0.6 * shifted + rng.standard_normal(count)
    variance = 1 / (count + 1 / prior**2)
    level = variance * readings.sum() + np.sqrt(variance) * rng.standard_normal(400_000)
    size = np.sqrt(shifted.sum())
    found = score((readings @ shifted - level * shifted.sum()) / size, unit=1 / size)
    covariance = np.eye(count) + prior**2
    estimate, se = _gls(readings, shifted, covariance)
    assert found.z == pytest.approx(estimate / se, abs=0.01)
    mean_level = variance * readings.sum()  # of the posterior: residuals have a part of the shift
    assert found.z * found.sd == pytest.approx((readings - mean_level)[::4].mean(), abs=0.005)


def _gls(readings: np.ndarray, added: np.ndarray, covariance: np.ndarray) -> tuple[float, float]:
    run = sm.GLS(readings, added, sigma=covariance).fit()
    se = np.sqrt(run.normalized_cov_params[0, 0])  # the noise is known to be 1
    return float(run.params[0]), float(se)


def test_scores_are_standard_normal_over_seasons_whatever_the_fit_takes_up() -> None:
    """2,000 seasons with a level drawn from its prior, 300 draws each."""
    rng = np.random.default_rng(8)
    found = []
    for _ in range(2000):
        readings = 0.3 * rng.standard_normal() + rng.standard_normal(12)
        variance = 1 / (12 + 1 / 0.09)
        level = variance * readings.sum() + np.sqrt(variance) * rng.standard_normal(300)
        found.append(score((readings[:6].sum() - 6 * level) / np.sqrt(6)).z)
    assert stats.kstest(found, "norm").pvalue > 0.001


def test_where_the_fit_takes_up_everything_scores_are_timid() -> None:
    normal = np.random.default_rng(1).standard_normal(1000)
    found = score(normal + 0.1)
    assert found.z == pytest.approx((normal + 0.1).mean() / np.sqrt(0.1))
    assert found.sd == pytest.approx(np.sqrt(0.1))


def test_normal_scores_are_those_of_the_distribution() -> None:
    rng = np.random.default_rng(2)
    observed = stats.chi2(8).ppf([0.001, 0.2, 0.5, 0.9, 0.999])
    found = normal_scores(observed, rng.chisquare(8, 100_000))
    assert found == pytest.approx(stats.norm.ppf([0.001, 0.2, 0.5, 0.9, 0.999]), abs=0.1)


def test_beyond_all_replicates_scores_go_on_growing() -> None:
    replicated = np.random.default_rng(3).standard_normal(4000)
    found = normal_scores(np.array([-7.0, -5.0, 5.0, 7.0]), replicated)
    assert found == pytest.approx([-7, -5, 5, 7], rel=0.1)


@pytest.mark.parametrize("looks", [1, 7, 63])
def test_chances_and_bounds_are_bonferronis(looks: int) -> None:
    assert chance_of(-3.5, looks) == pytest.approx(looks * 2 * stats.norm.sf(3.5))
    assert chance_of(3.5, looks, two_sided=False) == pytest.approx(looks * stats.norm.sf(3.5))
    assert chance_of(-3.5, looks, two_sided=False) == min(1, looks * stats.norm.cdf(3.5))
    assert chance_of(bound_of(looks), looks) == pytest.approx(0.05)


def test_the_normal_distribution_is_scipys() -> None:
    x = np.linspace(-5, 5, 77)
    assert share_below(x) == pytest.approx(stats.norm.cdf(x), abs=1e-5)
    assert quantiles(stats.norm.cdf(x)) == pytest.approx(x, abs=1e-6)
    assert within(0.8) == pytest.approx(stats.norm.ppf(0.9))
