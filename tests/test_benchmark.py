"""What speed is measured against is the same model, as a textbook would state it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pymc as pm
import pytensor
import pytest
from pytensor.compile.mode import Mode
from scipy.stats import multivariate_normal

from slackwater.model import names as n
from slackwater.model.priors import Priors
from slackwater.model.recovery import build_model
from tests.model.seasons import season
from tests.studies.textbook import textbook_model

SAMPLED_NIGHTS = ("baseline_start", "steps", "transient_z")
PYTHON_MODE = Mode(linker="py", optimizer="fast_compile")  # nothing to compile


def test_the_textbook_states_the_same_model() -> None:
    """Its readings, once its sampled nights are summed out, have the density of ours."""
    ours, textbook = build_model(season()), textbook_model(season())
    rng = np.random.default_rng(3)
    mean, sd = textbook[n.LOG_RMSSD].owner.inputs[-2:]
    others = [v for v in textbook.free_RVs if v.name not in SAMPLED_NIGHTS]
    values = {v.name: rng.uniform(0.1, 0.5, v.shape.eval()) for v in others}
    nights = [textbook[name] for name in SAMPLED_NIGHTS]
    asked = [mean, sd, textbook[n.TYPE_LOG_DIP]]
    of = pytensor.function([*nights, *others], asked, mode=PYTHON_MODE, on_unused_input="ignore")
    length = len(season().nights)

    def readings(start: float, *at: int) -> Any:
        z = np.zeros(2 * length - 1)
        z[list(at)] = 1.0
        return of(start, z[: length - 1], z[length - 1 :], *values.values())

    baseline = Priors().baseline
    middle, noise, type_log_dip = readings(baseline.mean)
    each = [readings(baseline.mean, i)[0] - middle for i in range(2 * length - 1)]
    whole = np.array([*each, readings(baseline.mean + baseline.sd)[0] - middle])
    density = multivariate_normal.logpdf(
        textbook.rvs_to_values[textbook[n.LOG_RMSSD]].data,
        middle,
        whole.T @ whole + np.diag(noise**2),
    )
    shared = {v.name for v in ours.free_RVs} & set(values)
    point = {
        ours.rvs_to_values[ours[name]].name: _free(name, ours, values[name]) for name in shared
    }
    point[n.TYPE_LOG_DIP] = type_log_dip
    assert {v.name for v in ours.free_RVs} == shared | {n.TYPE_LOG_DIP}
    logp = ours.compile_logp(vars=[ours[n.LOG_RMSSD]], mode=PYTHON_MODE, sum=True)
    assert float(logp(point)) == pytest.approx(float(density), rel=1e-8)


def _free(name: str, model: pm.Model, value: Any) -> Any:
    """Return a parameter as the sampler has it: a positive one by its log."""
    unconstrained = model.rvs_to_values[model[name]].name.endswith("_log__")
    return np.log(value) if unconstrained else value
