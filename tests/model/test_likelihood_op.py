"""The likelihood inside PyTensor: every way to run it gives the same value and gradient."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from pytensor.compile.mode import Mode
from pytensor.gradient import NullTypeGradError

from slackwater.model.likelihood import N_DATA, LikelihoodInputs, season_loglik
from tests.model.random_inputs import EDGES, PARAMETERS, evaluate, random_inputs

INPUTS = {"usual": random_inputs(21, nights=30, readings=22), **EDGES}
VARIABLES = LikelihoodInputs(
    pt.vector("readings"),
    *(pt.lvector(name) for name in LikelihoodInputs._fields[1:4]),
    *(pt.vector(name) for name in LikelihoodInputs._fields[4:N_DATA]),
    *(pt.vector(name) for name in PARAMETERS[:-5]),
    *(pt.scalar(name) for name in PARAMETERS[-5:]),
)

each_input = pytest.mark.parametrize("inputs", INPUTS.values(), ids=INPUTS.keys())


def python_mode() -> Mode:
    """No compiler: each Op runs its own Python."""
    return Mode(linker="py", optimizer="fast_compile")


@pytest.fixture(
    scope="module", params=["NUMBA", "FAST_RUN", python_mode()], ids=["numba", "default", "python"]
)
def scaled(request: pytest.FixtureRequest) -> Callable[..., list[Any]]:
    """Compile 5 - 2 * loglik with its gradient by each parameter."""
    cost = 5.0 - 2.0 * season_loglik(VARIABLES)
    gradient = pytensor.grad(cost, VARIABLES[N_DATA:])
    return pytensor.function(VARIABLES, [cost, *gradient], mode=request.param)  # type: ignore[no-any-return]


@each_input
def test_value_and_gradient_in_each_mode(
    scaled: Callable[..., list[Any]], inputs: LikelihoodInputs
) -> None:
    """The absolute part is for slopes of 0, from which each compiler rounds away its own bit."""
    value, gradient = evaluate(inputs)
    cost, *slopes = scaled(*inputs)
    assert cost == pytest.approx(5.0 - 2.0 * value, rel=1e-12)
    for name, slope in zip(PARAMETERS, slopes, strict=True):
        np.testing.assert_allclose(
            slope, -2.0 * gradient[name], rtol=1e-9, atol=1e-12, err_msg=name
        )


def test_gradient_joins_the_chain_rule() -> None:
    """By one log rate that all groups share."""
    inputs = random_inputs(22, nights=20, readings=15)
    log_rate = pt.scalar("log_rate")
    groups = len(inputs.rates)
    cost = season_loglik(inputs._replace(rates=pt.exp(log_rate) * np.ones(groups)))
    f = pytensor.function([log_rate], pytensor.grad(cost, log_rate), mode=python_mode())
    by_rate = evaluate(inputs._replace(rates=np.full(groups, 0.4))).gradient["rates"]
    assert f(np.log(0.4)) == pytest.approx(0.4 * by_rate.sum(), rel=1e-12)


def test_shapes_of_the_gradient_are_known_without_computing_it() -> None:
    gradient = pytensor.grad(season_loglik(VARIABLES), VARIABLES[N_DATA:])
    shapes = [g.shape for g in gradient]
    f = pytensor.function(VARIABLES, shapes, mode=Mode("py", "fast_run"), on_unused_input="ignore")
    assert "SeasonLogLikelihood" not in {str(n.op) for n in f.maker.fgraph.toposort()}
    inputs = INPUTS["usual"]
    expected = [np.shape(x) for x in inputs[N_DATA:]]
    assert [tuple(shape) for shape in f(*inputs)] == expected


def test_integer_and_single_precision_inputs_are_taken() -> None:
    inputs = random_inputs(23, nights=12, readings=9)
    short = [np.asarray(x, np.int32) for x in inputs[1:4]]
    single = [np.asarray(x, np.float32) for x in inputs[4:]]
    cost = season_loglik(LikelihoodInputs(inputs.readings, *short, *single))
    expected = evaluate(LikelihoodInputs(*inputs[:4], *(x.astype(float) for x in single)))
    assert cost.eval(mode=python_mode()) == pytest.approx(expected.value, rel=1e-12)


def test_data_have_no_gradient() -> None:
    gradient = pytensor.grad(
        season_loglik(VARIABLES), VARIABLES.readings, disconnected_inputs="ignore"
    )
    np.testing.assert_array_equal(
        gradient.eval({VARIABLES.readings: np.ones(3)}, mode=python_mode()), 0.0
    )


@pytest.mark.parametrize(
    "cost",
    [season_loglik(VARIABLES), pt.exp(season_loglik(VARIABLES)) + pt.sum(VARIABLES.rates**2)],
    ids=["alone", "with a prior"],
)
def test_a_second_derivative_is_refused_not_wrong(cost: Any) -> None:
    """Left out, it would make a Laplace approximation far too sure without a word."""
    first = pytensor.grad(cost, VARIABLES.rates)
    with pytest.raises(NullTypeGradError, match="first derivatives only"):
        pytensor.grad(pt.sum(first), VARIABLES.rates)
