"""What was foreseen, against scipy's distributions and numpy's draws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss
from scipy import stats

from slackwater.fitting.doubts import foreseen as f

PLAIN = f.Prior(mean=4.0, mean_sd=10.0, sd=0.1, tail=0.0, worth=1e-9)


def test_the_nodes_are_those_of_gauss_and_hermite() -> None:
    nodes, weights = hermegauss(9)
    both = sorted(f._both_sides())
    assert np.allclose([node for node, _ in both], nodes)
    assert np.allclose([weight for _, weight in both], weights / weights.sum())


@pytest.mark.parametrize("value", [3.2, 3.9, 4.0, 4.3, 5.5])
def test_a_mixture_of_normals_has_their_chances(value: float) -> None:
    parts = (f.Part(0.3, 3.9, 0.2), f.Part(0.7, 4.1, 0.1))
    below = 0.3 * stats.norm.cdf(value, 3.9, 0.2) + 0.7 * stats.norm.cdf(value, 4.1, 0.1)
    above = 0.3 * stats.norm.sf(value, 3.9, 0.2) + 0.7 * stats.norm.sf(value, 4.1, 0.1)
    made = f.Foreseen("forecast", parts)
    assert made.below(value) == pytest.approx(below)
    assert made.chance(value) == pytest.approx(2 * min(below, above))
    assert made.below(made.quantile(0.025)) == pytest.approx(0.025)


def test_of_many_own_numbers_it_is_the_normal_that_they_come_from() -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(4.0, 0.1, 4000).tolist()
    made = f.from_own("own readings", values, PLAIN)
    assert made.median == pytest.approx(4.0, abs=4 * 1.2533 * 0.1 / math.sqrt(4000))
    assert made.quantile(0.975) - made.median == pytest.approx(1.96 * 0.1, rel=0.06)


def test_a_slip_among_them_moves_next_to_nothing() -> None:
    """The breakdown point of median and median deviation is a half (Hampel 1974)."""
    values = [4.0, 4.1, 3.9, 4.05, 3.95, 4.02, 3.98]
    clean = f.from_own("own readings", values, f.reading_prior())
    spoilt = f.from_own("own readings", [*values, 4.0 + math.log(10)], f.reading_prior())
    assert spoilt.median == pytest.approx(clean.median, abs=0.03)
    assert spoilt.chance(4.0 + math.log(10)) < f.ASKED_BELOW


def test_what_draws_foretell_has_the_tails_of_the_model() -> None:
    """Against a million simulated readings of the model's own noise."""
    rng = np.random.default_rng(6)
    centre = rng.normal(4.1, 0.05, 400)
    made = f.from_draws(centre.tolist(), [0.01**2] * 400, [0.1] * 400, [0.6] * 400)
    n = 1_000_000
    noise = 0.1 * np.exp(0.3 * rng.standard_normal(n)) * rng.standard_normal(n)
    drawn = rng.choice(centre, n) + 0.01 * rng.standard_normal(n) + noise
    for share in (0.0005, 0.025, 0.5):
        value = float(np.quantile(drawn, share))
        error = 4 * math.sqrt(share * (1 - share) / n)
        assert made.below(value) == pytest.approx(share, abs=error + 0.03 * share)


def test_a_long_pause_and_a_new_sensor_widen_it() -> None:
    values = [4.0, 4.1, 3.9, 4.05, 3.95]
    near = f.from_own("own readings", values, f.reading_prior())
    late = f.from_own("own readings", values, f.reading_prior(), days=365)
    other = f.from_own("own readings", values, f.reading_prior(), more=0.04)
    assert near.chance(4.6) < late.chance(4.6)
    assert near.chance(4.6) < other.chance(4.6)
