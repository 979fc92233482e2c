"""What each draw says of a season, against the model itself and against other code.

Draws are of the priors, so that every make-up of a season is met, with wide and odd values.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pymc as pm
import pytest
import xarray as xr
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model import paths
from slackwater.model.design import Design, design_of, of_weekday
from slackwater.model.dynamics import held_back
from slackwater.model.likelihood import LikelihoodInputs
from slackwater.model.priors import Priors
from slackwater.model.recovery import build_model
from slackwater.model.season import DAY, Season
from slackwater.model.trend import step_weights
from slackwater.model.unexplained import steps_of
from tests.model.seasons import season, table
from tests.model.test_recovery import PYTHON_MODE, SEASONS, labels
from tests.oracles import dense, kalman
from tests.oracles.log_density import likelihood_inputs

Floats = NDArray[np.float64]

DRAWS = 6
HANDED = ("the dips", "the rates", "the speed", "the shift", "the noise")


class Drawn(NamedTuple):
    """Prior draws of one season, with all that the model hands to the likelihood."""

    season: Season
    design: Design
    draws: xr.Dataset
    positive: set[str]
    labels: dict[str, list[str]]

    def inputs(self, draw: int) -> LikelihoodInputs:
        """Return what the readings follow from in one draw, worked out apart from the model."""
        values = {}
        for name, drawn in self.draws.isel(sample=draw).items():
            positive = name in self.positive
            values[f"log {name}" if positive else str(name)] = (
                np.log(drawn.values) if positive else drawn.values
            )
        return likelihood_inputs(self.season, Priors(), values, self.labels)[0]


def draws_of(spring: Season) -> Drawn:
    model = build_model(spring)
    with model:
        node = model[n.LOG_RMSSD].owner
        for name, value in zip(HANDED, node.op.dist_params(node)[:5], strict=True):
            pm.Deterministic(name, value)
    prior = pm.sample_prior_predictive(
        DRAWS, model, random_seed=4, compile_kwargs={"mode": PYTHON_MODE}
    ).prior
    drawn = {k: v for k, v in prior.data_vars.items() if v.size or k in HANDED}
    one_chain = xr.Dataset(drawn).isel({n.CHAIN: 0}, drop=True).rename({n.DRAW: "sample"})
    return Drawn(
        spring.observed(),
        design_of(spring.observed()),
        one_chain,
        {name.removesuffix("_log__") for name in model.initial_point() if name.endswith("_log__")},
        labels(model),
    )


@pytest.fixture(scope="module", params=SEASONS)
def drawn(request: pytest.FixtureRequest) -> Drawn:
    return draws_of(SEASONS[request.param])


@pytest.fixture(scope="module")
def whole() -> Drawn:
    return draws_of(season())


def run(drawn: Drawn) -> paths.SeasonPath:
    draws, spring = drawn.draws, drawn.season
    noise = np.zeros((DRAWS, len(spring.nights)))
    noise[:, drawn.design.reading_nights] = draws["the noise"]
    readings = spring.data[n.LOG_RMSSD].values - paths.reading_shift(draws, spring)
    speed = paths.speed(draws, drawn.design)
    events = paths.fitted_events(draws, drawn.design)
    steps = steps_of(spring, Priors(), ())
    return paths.run_season(draws, events, speed, readings, noise, steps, Priors())


def test_draws_give_what_the_model_hands_to_the_likelihood(drawn: Drawn) -> None:
    draws, design = drawn.draws, drawn.design
    events = paths.fitted_events(draws, design)
    np.testing.assert_array_equal(events.nights, design.event_nights)
    np.testing.assert_array_equal(events.groups, design.event_groups)
    np.testing.assert_allclose(events.dips, draws["the dips"], rtol=1e-10)
    np.testing.assert_allclose(paths.rates(draws), draws["the rates"], rtol=1e-10)
    np.testing.assert_allclose(paths.speed(draws, design), draws["the speed"], rtol=1e-10)
    noise = paths.noise_variance(draws, draws[n.NIGHT_SCALE].values, design.reading_ln_sd)
    np.testing.assert_allclose(noise, draws["the noise"], rtol=1e-10)


def test_sensor_measures_and_first_nights_together_are_the_models_shift(drawn: Drawn) -> None:
    draws, design = drawn.draws, drawn.design
    events = paths.fitted_events(draws, design)
    nights = len(drawn.season.nights)
    hidden = held_back(events.dips, events.nights, events.first_share, nights)
    shift = paths.reading_shift(draws, drawn.season)
    together = (hidden + shift)[:, design.reading_nights]
    np.testing.assert_allclose(together, draws["the shift"], rtol=1e-9, atol=1e-12)


def test_the_season_runs_as_an_independent_filter_runs_it(drawn: Drawn) -> None:
    path = run(drawn)
    for draw in range(DRAWS):
        inputs = drawn.inputs(draw)
        expected = kalman.smooth(inputs)
        level = expected.predicted_state.sum(axis=0)[:-1]
        np.testing.assert_allclose(path.filtered.expected[draw], level, rtol=1e-8)
        variance = expected.predicted_state_cov.sum(axis=(0, 1))[:-1]
        np.testing.assert_allclose(path.filtered.variance[draw], variance, rtol=1e-7)
        density = path.filtered.log_density[draw].sum()
        assert density == pytest.approx(dense.log_likelihood(inputs), rel=1e-8)


def test_what_readings_show_is_every_dip_but_what_first_nights_hold_back(drawn: Drawn) -> None:
    path = run(drawn)
    nights = drawn.design.reading_nights
    added = paths.reading_shift(drawn.draws, drawn.season)
    for draw in range(DRAWS):
        inputs = drawn.inputs(draw)
        hidden = inputs.shift - added[draw, nights]
        expected = dense.dip_by_night(inputs)[nights] - hidden
        np.testing.assert_allclose(path.shown[draw, nights], expected, rtol=1e-9, atol=1e-12)


def test_the_last_night_is_what_an_independent_run_ends_with(drawn: Drawn) -> None:
    kept, levels = paths.last_night(drawn.draws, drawn.season, drawn.design, Priors())
    draws, design = drawn.draws, drawn.design
    read = run(drawn).shown - paths.reading_shift(draws, drawn.season)
    if n.UNLOGGED_DIP in draws:  # a watch must see what they took
        rate = np.exp(draws[n.TYPE_RATE_MEAN].values)
        gone = np.cumsum(paths.speed(draws, design), axis=1)
        for which, night in enumerate(design.unlogged_nights):
            left = np.exp(-rate[:, None] * (gone[:, night:] - gone[:, [night]]))
            read[:, night:] -= draws[n.UNLOGGED_DIP].values[:, [which]] * left
    np.testing.assert_allclose(levels, drawn.season.data[n.LOG_RMSSD] + read.mean(axis=0))
    assert [str(g) for g in kept[n.GROUP].values] == [
        *drawn.season.types,
        *drawn.season.stressors,
        n.START,
        *([n.UNLOGGED] if n.UNLOGGED_DIP in draws else []),
    ]
    np.testing.assert_allclose(kept["rate"], drawn.draws["the rates"], rtol=1e-10)
    for draw in range(DRAWS):
        inputs = drawn.inputs(draw)
        for group in range(kept.sizes[n.GROUP]):
            mine = drawn.design.event_groups == group  # each event is a group of its own there
            alone = inputs._replace(
                event_nights=inputs.event_nights[mine],
                event_groups=inputs.event_groups[mine],
                event_dips=inputs.event_dips[mine],
            )
            expected = dense.dip_by_night(alone)[-1]
            found = float(kept["dip"].values[draw, group])
            assert found == pytest.approx(expected, rel=1e-8, abs=1e-300)
        # On the last night, filtered and smoothed are the same.
        smoothed = kalman.smooth(inputs)
        np.testing.assert_allclose(kept["level_mean"][draw], smoothed.smoothed_state[:2, -1])
        covariance = smoothed.smoothed_state_cov[:2, :2, -1]
        np.testing.assert_allclose(kept["level_covariance"][draw], covariance, rtol=1e-7)


def test_names_stand_in_the_order_of_the_rates(whole: Drawn) -> None:
    assert paths.labels(whole.draws, n.TYPE) == whole.season.types
    assert paths.labels(whole.draws, "no such dimension") == []
    assert paths.groups(whole.draws) == [*whole.season.types, "head cold", n.START]
    without = whole.draws.drop_dims([n.TYPE, n.STRESSOR])
    assert paths.groups(without) == [n.START]
    assert paths.rates(without).shape == (DRAWS, 1)


def test_the_threshold_is_half_an_ordinary_night_unless_it_is_fixed() -> None:
    draws, spring = xr.Dataset({n.NOISE_SD: ("sample", [0.08, 0.1])}), season()
    np.testing.assert_allclose(paths.threshold(draws, spring), [0.04, 0.05])
    fixed, night = replace(spring, threshold_percent=5.0), spring.nights[-2]
    np.testing.assert_allclose(np.exp(-paths.threshold(draws, fixed.through(night))), [0.95, 0.95])
    assert fixed.fingerprint() == spring.fingerprint()  # nothing to fit anew


def test_the_dip_that_decays_is_larger_than_its_first_night_shows() -> None:
    draws = xr.Dataset(
        {
            n.FIRST_NIGHT: ("sample", [0.5, 1.0, 1.25]),
            n.TYPE_LOG_DIP: (("sample", n.TYPE), np.log([[0.2, 0.1]] * 3)),
        }
    )
    expected = [[0.4, 0.2], [0.2, 0.1], [0.16, 0.08]]
    np.testing.assert_allclose(np.exp(paths.typical_log_dips(draws)), expected)


@pytest.mark.parametrize(
    ("trend", "sd", "z"),
    [
        (paths.dip_trend, n.DIP_TREND_SD, n.DIP_TREND_Z),
        (paths.rate_trend, n.RATE_TREND_SD, n.RATE_TREND_Z),
    ],
)
def test_trends_are_straight_lines_between_half_years(trend: object, sd: str, z: str) -> None:
    steps = np.array([[0.3, -1.0], [2.0, 0.5]])
    draws = xr.Dataset({sd: ("sample", [0.1, 0.2]), z: (("sample", n.HALF_YEAR), steps)})
    ages = np.array([400, 364, 250, 182, 30, 0, -5])
    assert callable(trend)
    found = trend(draws, step_weights(ages, 2))
    for draw, scale in enumerate([0.1, 0.2]):
        knots = np.concatenate([[0.0], np.cumsum(scale * steps[draw])])
        expected = np.interp(ages, [0, 182, 364], knots)
        np.testing.assert_allclose(found[draw], expected, atol=1e-15)
    none = trend(draws.drop_vars(z), step_weights(ages, 2))
    np.testing.assert_array_equal(none, np.zeros((2, len(ages))))


def test_a_sensors_step_is_on_its_own_nights_alone(whole: Drawn) -> None:
    """The finger clip was read before the chest strap, which is the reference."""
    shift = paths.sensor_shift(whole.draws, whole.season)
    names = np.full(len(whole.season.nights), "", object)
    rows = table("readings")
    at = (rows["date"].to_numpy().astype("datetime64[D]") - whole.season.first_night).astype(int)
    names[at] = rows["sensor"].to_numpy()
    step = whole.draws[n.SENSOR_STEP].values
    np.testing.assert_array_equal(shift[:, at], step * (names[at] == "finger clip"))
    nobody = paths.sensor_shift(whole.draws.drop_dims(n.OTHER_SENSOR), whole.season)
    np.testing.assert_array_equal(nobody, np.zeros_like(shift))


def test_a_measure_lifts_the_readings_of_the_nights_after_its_days_alone(whole: Drawn) -> None:
    found = paths.lifts(whole.draws, whole.season)
    assert list(found) == whole.season.interventions
    log = table("interventions")
    for row, name in enumerate(found):
        days = log["date"][log["intervention"] == name].to_numpy().astype("datetime64[D]")
        on = np.isin(whole.season.nights, days + DAY)
        lift = whole.draws[n.LIFT].values[:, [row]]
        np.testing.assert_array_equal(found[name], lift * on)
    later = whole.season.nights[-1:] + 50 * DAY
    assert not any(lift.any() for lift in paths.lifts(whole.draws, whole.season, later).values())


def test_a_rhythm_ends_in_the_same_digits_for_one_night_and_for_many() -> None:
    """A product of matrices does not, on some processors."""
    rng = np.random.default_rng(8)
    draws = xr.Dataset(
        {
            n.WEEKDAY_SD: ("sample", np.exp(rng.standard_normal(500))),
            n.WEEKDAY_Z: (("sample", n.WEEKDAY), rng.standard_normal((500, 7))),
        }
    )
    nights = np.datetime64("2031-01-01") + np.arange(14)
    every = paths.rhythm(draws, nights)
    assert np.array_equal(paths.rhythm(draws, nights[:1]), every[:, :1])
    of_days = draws[n.WEEKDAY_SD].values[:, None] * draws[n.WEEKDAY_Z].values
    assert every == pytest.approx(of_days @ of_weekday(nights).T, abs=1e-12)
