"""Many measures together: eight schools, and the luck of the tenth idea."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting.answers.intervals import CLEARLY
from slackwater.fitting.measures.shrinkage import shrink, without_prior
from slackwater.model.priors import Belief

# Eight schools: Rubin 1981, J Educ Stat 6:377-401.
EFFECTS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
ERRORS = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])


def test_eight_schools_by_quadrature() -> None:
    # Centre Normal(0, 5), spread half-Cauchy(5): independent quadrature to 1e-4.
    found = shrink(EFFECTS, ERRORS, centre_sd=5.0, spread_scale=5.0)
    centre = found.centre_means @ found.weight
    second = (found.centre_means**2 + found.centre_sds**2) @ found.weight
    assert centre == pytest.approx(4.3968, abs=2e-3)
    assert np.sqrt(second - centre**2) == pytest.approx(3.3177, abs=2e-3)
    spread = found.spread @ found.weight
    assert spread == pytest.approx(3.5977, abs=2e-3)
    assert np.sqrt(found.spread**2 @ found.weight - spread**2) == pytest.approx(3.2200, abs=5e-3)
    assert found.mean == pytest.approx(
        [6.2119, 4.9402, 3.9270, 4.7571, 3.6155, 4.0426, 6.2967, 4.8543], abs=2e-3
    )
    assert found.sd == pytest.approx(
        [5.5931, 4.6743, 5.2626, 4.7803, 4.6575, 4.8269, 5.0778, 5.2908], abs=5e-3
    )
    first = [found.quantile(share)[0] for share in (0.025, 0.25, 0.5, 0.75, 0.975)]
    assert first == pytest.approx([-3.105, 2.733, 5.637, 8.902, 19.601], abs=1e-2)


def test_eight_schools_against_long_runs_of_a_sampler() -> None:
    # posteriordb's reference draws (10,000; commit 28f8d3d6), Monte Carlo errors about .05.
    found = shrink(EFFECTS, ERRORS, centre_sd=5.0, spread_scale=5.0)
    reference = [6.1505, 4.9396, 3.9059, 4.7960, 3.6144, 4.0511, 6.3172, 4.8840]
    assert found.mean == pytest.approx(reference, abs=5 * 0.05)


def test_one_measure_and_none() -> None:
    found = shrink(np.array([0.4]), np.array([0.1]))
    assert 0.2 < found.mean[0] < 0.4
    assert found.chance_above(0.0)[0] > 0.99
    assert shrink(np.array([]), np.array([])).mean.shape == (0,)


def test_without_knowledge_an_effect_is_like_the_others() -> None:
    alike = np.full(6, 0.3)
    found = shrink(np.append(alike, 0.0), np.append(np.full(6, 0.05), np.inf))
    others = shrink(alike, np.full(6, 0.05))
    assert found.mean[:6] == pytest.approx(others.mean)
    assert found.mean[6] == pytest.approx(others.centre_means @ others.weight)
    assert found.sd[6] > found.sd[0]


def test_quantiles_and_chances_are_of_one_distribution() -> None:
    found = shrink(np.array([0.3, -0.1, 0.0]), np.array([0.1, 0.2, 0.15]))
    for share in (0.1, 0.5, 0.9):
        for j, value in enumerate(found.quantile(share)):
            assert found.chance_above(float(value))[j] == pytest.approx(1 - share, abs=1e-9)


def test_a_prior_is_taken_out_again() -> None:
    # Data 0.5 +- 0.2 under a Normal(0, 0.3) prior, worked out by precisions.
    precision = 1 / 0.2**2 + 1 / 0.3**2
    mean, sd = 0.5 / 0.2**2 / precision, precision**-0.5
    estimate, error = without_prior(np.array([mean]), np.array([sd]), [Belief(0.0, 0.3)])
    assert estimate == pytest.approx([0.5])
    assert error == pytest.approx([0.2])
    nothing = without_prior(np.array([0.01, 0.0]), np.array([0.3, 0.31]), [Belief(0.0, 0.3)] * 2)
    assert np.all(np.isinf(nothing[1]))


def test_each_measure_has_its_own_prior_taken_out() -> None:
    priors = [Belief(0.0, 0.3), Belief(0.1, 0.1)]
    precision = np.array([1 / 0.2**2 + 1 / p.sd**2 for p in priors])
    mean = np.array([(0.5 / 0.2**2 + p.mean / p.sd**2) for p in priors]) / precision
    estimate, error = without_prior(mean, precision**-0.5, priors)
    assert estimate == pytest.approx([0.5, 0.5])
    assert error == pytest.approx([0.2, 0.2])


def test_the_tenth_idea_does_not_win_by_luck() -> None:
    # Ten measures that do nothing, each told apart to 0.12: by itself, the luckiest of ten is
    # called faster 1 - .975**10 = 22 % of the time.
    rng = np.random.default_rng(sum(map(ord, "luck")))
    ledgers, error = 400, 0.12
    noise = rng.normal(0, error, (ledgers, 10))
    alone = (stats.norm.cdf(noise / error) >= CLEARLY).any(axis=1).mean()
    together = 0
    for estimate in noise:
        luckiest = np.argmax(estimate)
        found = shrink(estimate, np.full(10, error))
        standard = found.mean[luckiest] / found.sd[luckiest]
        if standard > 1:  # else its chance cannot come near
            together += found.chance_above(0.0)[luckiest] >= CLEARLY
    assert alone == pytest.approx(1 - 0.975**10, abs=0.08)
    assert together / ledgers <= stats.binom.ppf(0.999, ledgers, 0.05) / ledgers
