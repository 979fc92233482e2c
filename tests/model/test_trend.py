"""Recovery's slow trend over years: its weights, and what the model makes of it."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import pymc as pm
import pytest
import xarray as xr

from slackwater.model import build_model, paths
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.recovery import with_type_parameters
from slackwater.model.season import Season
from slackwater.model.trend import STEP_NIGHTS, step_weights, steps_over
from tests.model.test_recovery import PYTHON_MODE

TREND: Final = {n.DIP_TREND_SD, n.DIP_TREND_Z, n.RATE_TREND_SD, n.RATE_TREND_Z}


def long_season(nights: int, sessions_every: int = 40) -> Season:
    dates = pd.date_range("2031-01-01", periods=nights)
    done = dates[5 : nights - 1 : sessions_every]
    types = np.resize(["row intervals", "hill run", "row intervals"], len(done))
    read = dates[:: nights // 30].union(dates[-1:])
    return Season.from_tables(
        "years",
        pd.DataFrame({"date": read, "rmssd_ms": 60.0}),
        pd.DataFrame({"date": done, "type": types, "dose": np.resize([1.0, 0.5], len(done))}),
        interventions=pd.DataFrame({"date": done[:2], "intervention": "river dip"}),
    )


def test_now_has_no_weight_and_half_a_year_back_has_one_step() -> None:
    ages = np.array([-3, 0, STEP_NIGHTS // 2, STEP_NIGHTS, 2 * STEP_NIGHTS + STEP_NIGHTS // 2])
    expected = np.array([[0, 0, 0], [0, 0, 0], [0.5, 0, 0], [1, 0, 0], [1, 1, 0.5]])
    np.testing.assert_allclose(step_weights(ages, 3), expected)


@pytest.mark.parametrize("nights", [STEP_NIGHTS + 1, 2 * STEP_NIGHTS + 1, 1000])
def test_the_steps_reach_as_far_back_as_the_season(nights: int) -> None:
    weights = step_weights(np.arange(nights), steps_over(nights))
    assert np.all(weights[-1, :-1] == 1)
    assert 0 < weights[-1, -1] <= 1


def test_a_season_of_half_a_year_has_no_trend() -> None:
    short = build_model(long_season(STEP_NIGHTS)).named_vars
    assert not TREND & set(short)
    assert set(build_model(long_season(STEP_NIGHTS + 1)).named_vars) >= TREND


def test_a_long_season_without_sessions_has_no_trend() -> None:
    dates = pd.date_range("2031-01-01", periods=2 * STEP_NIGHTS)
    season = Season.from_tables("rest", pd.DataFrame({"date": dates, "rmssd_ms": 60.0}))
    assert not TREND & set(build_model(season).named_vars)


Drawn = tuple[Season, xr.Dataset, xr.Dataset]


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    """A long season, prior draws of it, its constant data, and its likelihood's inputs."""
    season = long_season(500)
    model = build_model(season)
    with model:
        node = model[n.LOG_RMSSD].owner
        dips, rates, speed = node.op.dist_params(node)[:3]
        for name, value in (("dips", dips), ("rates", rates), ("speed", speed)):
            pm.Deterministic(f"the {name}", value)
    prior = pm.sample_prior_predictive(
        20, model, random_seed=3, compile_kwargs={"mode": PYTHON_MODE}
    )
    draws, constant = (dict(group.data_vars) for group in (prior.prior, prior.constant_data))
    return season, xr.Dataset(draws), xr.Dataset(constant)


def test_draws_run_the_trend_as_the_model_does(drawn: Drawn) -> None:
    season, draws, _ = drawn
    design = design_of(season.observed())
    filled = draws[[name for name, values in draws.data_vars.items() if values.size]]
    stacked = filled.stack(sample=(n.CHAIN, n.DRAW)).transpose("sample", ...)
    events = paths.fitted_events(stacked, design)
    np.testing.assert_allclose(paths.rates(stacked), stacked["the rates"], rtol=1e-10)
    np.testing.assert_allclose(events.dips, stacked["the dips"], rtol=1e-10)
    np.testing.assert_allclose(paths.speed(stacked, design), stacked["the speed"], rtol=1e-10)
    assert np.ptp(paths.speed(stacked, design)[:, 0]) > 0.01  # the trend does act


def test_the_types_are_those_of_today(drawn: Drawn) -> None:
    _, draws, constant = drawn
    again = with_type_parameters(draws.drop_vars(n.TYPE_LOG_DIP), constant)
    np.testing.assert_allclose(again[n.TYPE_LOG_DIP], draws[n.TYPE_LOG_DIP], rtol=1e-10)


def test_dips_of_today_keep_their_prior(drawn: Drawn) -> None:
    """The sampled average-session dip is a change of variables alone: the density says so."""
    _, draws, _ = drawn
    score = (draws[n.TYPE_LOG_DIP] - draws[n.TYPE_DIP_MEAN]) / draws[n.TYPE_DIP_SD]
    assert abs(float(score.mean())) < 5 / np.sqrt(score.size)
    assert abs(float(score.var()) - 1) < 5 * np.sqrt(2 / score.size)
