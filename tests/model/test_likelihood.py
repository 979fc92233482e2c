"""The log-likelihood and its gradient against other ways to the same numbers."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings

from slackwater.model.dynamics import dip_path
from slackwater.model.levels import filter_levels
from slackwater.model.likelihood import LikelihoodInputs
from tests.model.random_inputs import (
    EDGES,
    PARAMETERS,
    evaluate,
    likelihood_inputs,
    moving,
    random_inputs,
)
from tests.oracles import dense, kalman

# Positive ones are varied in proportion, the others by the same step in ln units.
POSITIVE = {
    "rates", "speed", "noise_variance", "drift_variance", "transient_variance", "persistence",
    "start_variance",
}  # fmt: skip

each_edge = pytest.mark.parametrize("inputs", EDGES.values(), ids=EDGES.keys())
# The first call compiles.
quickly = settings(deadline=None, max_examples=60)


def assert_same(inputs: LikelihoodInputs, expected: float) -> None:
    assert evaluate(inputs).value == pytest.approx(expected, rel=1e-8, abs=1e-8)


@quickly
@given(likelihood_inputs())
def test_it_equals_statsmodels_filter(inputs: LikelihoodInputs) -> None:
    assert_same(inputs, kalman.smooth(inputs).llf)


@quickly
@given(likelihood_inputs())
def test_it_equals_one_big_normal_density(inputs: LikelihoodInputs) -> None:
    assert_same(inputs, dense.log_likelihood(inputs))


@each_edge
def test_it_equals_both_at_the_edges(inputs: LikelihoodInputs) -> None:
    assert_same(inputs, kalman.smooth(inputs).llf)
    assert_same(inputs, dense.log_likelihood(inputs))


@pytest.mark.parametrize("oracle", [lambda i: kalman.smooth(i).llf, dense.log_likelihood])
@pytest.mark.parametrize(
    "spoil",
    [
        lambda i: i._replace(event_dips=-i.event_dips),
        lambda i: i._replace(rates=np.full_like(i.rates, i.rates.mean())),
        lambda i: i._replace(speed=np.ones_like(i.speed)),
        lambda i: i._replace(shift=-i.shift),
        lambda i: i._replace(event_nights=np.maximum(i.event_nights - 1, 0)),
        lambda i: i._replace(persistence=np.asarray(0.01)),
        lambda i: i._replace(jump=np.zeros_like(i.jump)),
        lambda i: i._replace(new_level=np.zeros_like(i.new_level)),
    ],
    ids=[
        "dips added",
        "one rate for all",
        "no intervention",
        "step taken off",
        "a night early",
        "noise that does not linger",
        "all explained",
        "no new level",
    ],
)
def test_the_same_comparison_rejects_another_model(
    oracle: Callable[[LikelihoodInputs], float],
    spoil: Callable[[LikelihoodInputs], LikelihoodInputs],
) -> None:
    inputs = random_inputs(11, nights=30, readings=25)
    assert_same(inputs, oracle(inputs))
    with pytest.raises(AssertionError):
        assert_same(inputs, oracle(spoil(inputs)))


@quickly
@given(likelihood_inputs())
def test_one_step_densities_add_up_to_it(inputs: LikelihoodInputs) -> None:
    assert_adds_up(inputs)


@each_edge
def test_one_step_densities_add_up_to_it_at_the_edges(inputs: LikelihoodInputs) -> None:
    assert_adds_up(inputs)


def assert_adds_up(inputs: LikelihoodInputs) -> None:
    """Go the way that answers go: `dip_path` and `filter_levels`, here for one draw."""
    nights = len(inputs.speed)
    events = (inputs.event_nights, inputs.event_groups)
    path = dip_path(inputs.event_dips[None], *events, inputs.rates[None], inputs.speed[None])
    level_readings = np.full((1, nights), np.nan)
    noise = np.full((1, nights), np.nan)
    seen = inputs.reading_nights
    level_readings[0, seen] = inputs.readings - inputs.shift + path[0].sum(axis=1)[seen]
    noise[0, seen] = inputs.noise_variance
    filtered = filter_levels(level_readings, noise, *moving(inputs))
    unread = np.setdiff1d(np.arange(nights), seen)
    assert np.all(filtered.log_density[0, unread] == 0)
    assert filtered.log_density.sum() == pytest.approx(evaluate(inputs).value, rel=1e-10, abs=1e-10)


@settings(deadline=None, max_examples=30)
@given(likelihood_inputs())
def test_gradient_equals_finite_differences(inputs: LikelihoodInputs) -> None:
    assert_gradient(inputs)


@each_edge
def test_gradient_equals_finite_differences_at_the_edges(inputs: LikelihoodInputs) -> None:
    assert_gradient(inputs)


def assert_gradient(inputs: LikelihoodInputs) -> None:
    """Compare by relative 1e-6; the absolute part is what rounding does to the differences."""
    value, gradient = evaluate(inputs)
    rounding = 1e-10 * max(1.0, abs(value))
    for name in PARAMETERS:
        x = getattr(inputs, name)
        assert gradient[name].shape == x.shape
        unit = x if name in POSITIVE else np.ones_like(x)
        expected = [slope(inputs, name, i, unit[i]) for i in np.ndindex(x.shape)]
        np.testing.assert_allclose(
            (gradient[name] * unit).ravel(), expected, rtol=1e-6, atol=rounding, err_msg=name
        )


def slope(inputs: LikelihoodInputs, name: str, index: tuple[int, ...], unit: float) -> float:
    """Central differences at three steps, extrapolated twice: the error is of sixth order."""

    def at(step: float) -> float:
        x = getattr(inputs, name).copy()
        x[index] += step * unit
        return evaluate(inputs._replace(**{name: x})).value

    plain = [(at(h) - at(-h)) / (2 * h) for h in (0.02, 0.01, 0.005)]
    once = [(4 * fine - rough) / 3 for rough, fine in pairwise(plain)]
    return (16 * once[1] - once[0]) / 15
