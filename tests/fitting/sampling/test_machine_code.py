"""The compiled density against PyMC's own, run in Python without compiling anything."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from dataclasses import replace
from typing import Any, Final, NamedTuple
from uuid import uuid4

import numpy as np
import pymc as pm
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from slackwater.fitting.sampling import machine_code
from slackwater.fitting.sampling.fit import identity
from slackwater.fitting.sampling.machine_code import MachineCode, compile_model
from slackwater.model.priors import Priors
from slackwater.model.recovery import build_model, put_season
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.conftest import Fitted

Floats = NDArray[np.float64]

PYTHON: Final = Mode(linker="py", optimizer="fast_compile")
DOUBLES: Final = ctypes.POINTER(ctypes.c_double)
NON_FINITE_GRADIENT, NON_FINITE_DENSITY = 3, 4


class Value(NamedTuple):
    status: int
    density: float
    gradient: Floats


def compiled(season: Season) -> tuple[pm.Model, MachineCode]:
    model = build_model(season)
    return model, compile_model(model, identity(Priors()))


def call(code: MachineCode, point: Floats) -> Value:
    """Call the machine code as nutpie does."""
    gradient, density = np.zeros(code.n_dim), np.zeros(1)
    addresses = [array.ctypes.data_as(DOUBLES) for array in (point, gradient, density)]
    status = code.logp.ctypes(code.n_dim, *addresses, code.memory.ctypes.data)
    return Value(int(status), float(density[0]), gradient)


def named(model: pm.Model, code: MachineCode, point: Floats) -> dict[str, Any]:
    shapes = {name: value.shape for name, value in model.initial_point().items()}
    pieces = np.split(point, np.cumsum(code.lengths)[:-1])
    return {
        name: piece.reshape(shapes[name]) for name, piece in zip(code.names, pieces, strict=True)
    }


def assert_equals_pymc(model: pm.Model, code: MachineCode, seeds: range = range(3)) -> None:
    # In pieces, since PyTensor adds at most 32 numbers at once without compiling.
    density = model.compile_logp(sum=False, mode=PYTHON)
    gradient = model.compile_dlogp(mode=PYTHON)
    for seed in seeds:
        point = code.start(seed)
        values = named(model, code, point)
        found = call(code, point)
        assert found.status == 0
        expected = sum(float(np.sum(piece)) for piece in density(values))
        assert found.density == pytest.approx(expected, rel=1e-10)
        np.testing.assert_allclose(found.gradient, gradient(values), rtol=1e-8, atol=1e-9)


def test_density_and_gradient_equal_pymcs_where_all_is_logged(demo: Fitted) -> None:
    model, code = compiled(demo.season)
    assert_equals_pymc(model, code)


def test_they_do_where_only_readings_are(demo: Fitted) -> None:
    model, code = compiled(by_hand.season(readings=list(np.linspace(3.8, 4.2, 20))))
    assert code.n_dim < 40
    assert_equals_pymc(model, code)


def smallest() -> Season:
    """Return a season with all that the demo season has, a day perhaps forgotten too."""
    rng = np.random.default_rng(sum(map(ord, "smallest")))
    return by_hand.season(
        sessions=[(day, ("row", "run", "paddle")[day % 3]) for day in range(14) if day != 10],
        interventions=[(4, "bath")],
        stressors=[(7, "cold")],
        attributes={"row": {"in": "boat"}, "paddle": {"in": "boat"}, "run": {"in": "shoes"}},
        sensors=["clip"] * 5 + ["strap"] * 15,
        readings=list(rng.normal(4.0, 0.2, 20)),
    )


def no_graph(*args: object) -> None:
    raise AssertionError("a graph was built")


def test_a_season_of_another_size_needs_no_compiling_and_is_right(
    demo: Fitted, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, code = compiled(demo.season)
    before = call(code, code.start(1))
    monkeypatch.setattr(machine_code, "_flat_graph", no_graph)
    model, other = compiled(smallest())
    assert other.names == code.names
    assert other.n_dim < code.n_dim
    assert_equals_pymc(model, other)
    again = call(code, code.start(1))  # the first season's numbers are still its own
    assert again.density == before.density
    np.testing.assert_array_equal(again.gradient, before.gradient)


def test_the_same_code_reads_a_season_put_into_its_model(demo: Fitted) -> None:
    model, code = compiled(demo.season)
    put_season(model, smallest().observed(), Priors())
    other, fresh = code.reading(model), compiled(smallest())[1]
    assert other.lengths == fresh.lengths
    point = fresh.start(1)
    density, gradient = other.density()(point)
    found = call(fresh, point)
    assert density == found.density
    np.testing.assert_array_equal(gradient, found.gradient)
    far, flat = other.density()(1e3 + point)
    assert far == -np.inf
    assert not flat.any()


def test_a_new_process_needs_no_compiling_either(demo: Fitted) -> None:
    _, code = compiled(demo.season)
    script = f"""
import warnings
warnings.simplefilter("ignore")
from slackwater.fitting import read_season
from slackwater.fitting.sampling import machine_code
from slackwater.fitting.sampling.fit import identity
from slackwater.model.priors import Priors
from slackwater.model.recovery import build_model
machine_code._flat_graph = None
model = build_model(read_season({str(demo.folder)!r}))
print(machine_code.compile_model(model, identity(Priors())).n_dim)
"""
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (ran.returncode, ran.stdout) == (0, f"{code.n_dim}\n"), ran.stderr


def line(bent: float = 0.0) -> pm.Model:
    """Return about the smallest model that reads data."""
    with pm.Model(coords={"point": range(3)}) as model:
        x = pm.Data("x", np.array([0.0, 1.0, 2.0]), dims="point")
        mean = pm.Normal("height") + pm.Normal("slope") * x
        mean = mean + bent * pm.Normal("curvature") * x**2 if bent else mean
        pm.Normal("y", mean, 1.0, observed=np.array([0.1, 0.9, 2.2]))
    return model


def test_this_process_loads_what_others_compile_the_first_time_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(machine_code, "_density", no_graph)
    models = [line(), line(bent=0.5)]
    codes = [compile_model(model, f"never compiled before: {uuid4()}") for model in models]
    for model, code in zip(models, codes, strict=True):  # neither passes for the other
        assert_equals_pymc(model, code)


def test_where_no_process_can_be_begun_this_one_compiles(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    model = line()
    assert_equals_pymc(model, compile_model(model, f"never compiled before: {uuid4()}"))


def test_other_beliefs_or_equations_are_other_machine_code() -> None:
    usual = identity(Priors())
    beliefs = replace(Priors(), drift_sd=Priors().drift_sd._replace(sd=0.70000001))
    assert identity(beliefs) != usual
    for equation in ("def season_loglik(", "def build_model(", "def non_centred("):
        assert equation in usual


def test_chains_start_apart_and_as_told(demo: Fitted) -> None:
    _, code = compiled(demo.season)
    np.testing.assert_array_equal(code.start(1), code.start(1))
    assert np.all(code.start(1) != code.start(2))
    assert np.all(np.abs(code.start(1) - code.start(2)) < 2)


@pytest.mark.parametrize("value", [np.inf, np.nan, 1e4, -1e4])
def test_where_the_density_is_no_number_nutpie_is_told_so(demo: Fitted, value: float) -> None:
    _, code = compiled(demo.season)
    point = code.start(1)
    point[sum(code.lengths[: code.names.index("noise_sd_log__")])] = value
    assert call(code, point).status in (NON_FINITE_GRADIENT, NON_FINITE_DENSITY)
