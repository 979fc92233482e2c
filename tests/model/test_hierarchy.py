"""Partial pooling over a family, as over session types, on the eight schools.

Data: Rubin 1981, J Educ Stat 6:377-401, effects of coaching on test scores and their standard
errors. Posterior under mean ~ Normal(0, 5), sd ~ half-Cauchy(5): computed by quadrature to 1e-4;
posteriordb's reference draws (eight_schools_noncentered, commit 28f8d3d6) agree, with mean 4.4105
(MCSE 0.033) and sd 3.6021 (MCSE 0.032).
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import nutpie
import pymc as pm
import pytest
from arviz_stats.base import array_stats
from numpy.typing import NDArray
from scipy.stats import halfcauchy, lognorm

from slackwater.model.pooling import centred, non_centred
from tests.oracles.pooling import Moments, solve

Floats = NDArray[np.float64]

EFFECTS: Final = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS: Final = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])

PUBLISHED: Final = Moments(
    mean=(4.3968, 3.3177),
    sd=(3.5977, 3.2200),
    members=(
        np.array([6.2119, 4.9402, 3.9270, 4.7571, 3.6155, 4.0426, 6.2967, 4.8543]),
        np.array([5.5931, 4.6743, 5.2626, 4.7803, 4.6575, 4.8269, 5.0778, 5.2908]),
    ),
)
PUBLISHED_SD_QUANTILES: Final = {
    0.025: 0.1231,
    0.25: 1.2623,
    0.5: 2.7487,
    0.75: 4.9911,
    0.975: 11.932,
}
FIRST_SCHOOL_QUANTILES: Final = {0.25: 2.733, 0.5: 5.637, 0.75: 8.902}


def half_cauchy(sd: Floats) -> Floats:
    return np.asarray(halfcauchy.logpdf(sd, scale=5))


def away_from_zero(sd: Floats) -> Floats:
    """A log-normal prior as the recovery model has for its scales; centred, it needs one."""
    return np.asarray(lognorm.logpdf(sd, 0.4, scale=5))


def test_quadrature_gives_the_published_posterior() -> None:
    solved = solve(EFFECTS, ERRORS, 5.0, half_cauchy)
    assert solved.mean == pytest.approx(PUBLISHED.mean, abs=1.5e-4)
    assert solved.sd == pytest.approx(PUBLISHED.sd, abs=1.5e-4)
    np.testing.assert_allclose(solved.members, PUBLISHED.members, atol=1.5e-4)


@pytest.fixture(scope="module")
def draws() -> dict[str, Floats]:
    """Sample both forms at once, in one model of two unrelated halves."""
    with pm.Model(coords={"school": list("ABCDEFGH")}) as model:
        mean, sd = pm.Normal("mean", 0, 5), pm.HalfCauchy("sd", 5)
        members = non_centred("members", "members_z", mean, sd, "school")
        pm.Normal("effects", members, ERRORS, observed=EFFECTS)
        mean, sd = pm.Normal("centred_mean", 0, 5), pm.LogNormal("centred_sd", np.log(5), 0.4)
        members = centred("centred_members", mean, sd, "school")
        pm.Normal("centred_effects", members, ERRORS, observed=EFFECTS)
    sampled: Any = nutpie.sample(
        nutpie.compile_pymc_model(model),
        draws=5000,
        tune=1000,
        chains=4,
        cores=2,
        seed=sum(map(ord, "schools")),
        target_accept=0.95,
        progress_bar=False,
    )
    assert int(sampled.sample_stats["diverging"].sum()) == 0
    return {str(name): values.to_numpy() for name, values in sampled.posterior.items()}


def error(values: Floats, method: str, prob: float | None = None) -> float:
    """Monte Carlo standard error of draws of shape (chain, draw)."""
    return float(array_stats.mcse(values, chain_axis=0, draw_axis=1, method=method, prob=prob))


def assert_moments(values: Floats, expected: tuple[float, float]) -> None:
    """Within five standard errors, once in 1,700,000 seeds beyond them by chance."""
    assert abs(values.mean() - expected[0]) < 5 * error(values, "mean")
    assert abs(values.std() - expected[1]) < 5 * error(values, "sd")


def assert_posterior(draws: dict[str, Floats], prefix: str, expected: Moments) -> None:
    assert_moments(draws[f"{prefix}mean"], expected.mean)
    assert_moments(draws[f"{prefix}sd"], expected.sd)
    for school in range(8):
        member = (float(expected.members[0][school]), float(expected.members[1][school]))
        assert_moments(draws[f"{prefix}members"][..., school], member)


@pytest.mark.slow
def test_non_centred_members_have_the_published_posterior(draws: dict[str, Floats]) -> None:
    assert_posterior(draws, "", PUBLISHED)
    sd, first = draws["sd"], draws["members"][..., 0]
    for prob, value in PUBLISHED_SD_QUANTILES.items():
        assert abs(np.quantile(sd, prob) - value) < 5 * error(sd, "quantile", prob)
    for prob, value in FIRST_SCHOOL_QUANTILES.items():
        assert abs(np.quantile(first, prob) - value) < 5 * error(first, "quantile", prob)


@pytest.mark.slow
def test_centred_members_have_the_posterior_of_quadrature(draws: dict[str, Floats]) -> None:
    assert_posterior(draws, "centred_", solve(EFFECTS, ERRORS, 5.0, away_from_zero))


@pytest.mark.slow
@pytest.mark.parametrize(
    "members",
    [EFFECTS, np.full(8, 7.685617)],  # BDA3, chapter 5: pooled effect 7.7
    ids=["no pooling", "complete pooling"],
)
def test_the_same_comparison_rejects_the_extremes(
    draws: dict[str, Floats], members: Floats
) -> None:
    wrong = PUBLISHED._replace(members=(members, PUBLISHED.members[1]))
    with pytest.raises(AssertionError):
        assert_posterior(draws, "", wrong)


@pytest.mark.slow
def test_each_school_is_drawn_from_its_own_effect_to_the_family(draws: dict[str, Floats]) -> None:
    """Shrinkage, and the more so the larger a school's error."""
    members, centre = draws["members"].mean(axis=(0, 1)), draws["mean"].mean()
    kept = (members - centre) / (EFFECTS - centre)
    assert np.all((kept > 0) & (kept < 1))
    assert kept[ERRORS.argmax()] < kept[ERRORS.argmin()]
