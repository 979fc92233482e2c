"""What a fit is worth: one-step-ahead forecasts against statsmodels, and the record of them."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
import xarray as xr
from rich.console import Console
from scipy import stats

from slackwater.fitting import Standing, standing, worth
from slackwater.fitting.answers.worth import one_ahead, recent_mean
from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.sampling.posterior import FitChecks, Posterior
from slackwater.fitting.state.past import past_of
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.priors import Belief
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import CLEAN, Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted
from tests.fitting.sampling.test_last_night import inputs
from tests.oracles import kalman


def printed(answer: xr.Dataset) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), answer)
    return screen.getvalue()


# One night ahead, against statsmodels.


@pytest.mark.parametrize("number", [0, 777, 3999])
def test_one_ahead_is_that_of_statsmodels(demo: Fitted, demo_now: Standing, number: int) -> None:
    """Where no session is first shown: there the night's own dip is not the learnt one."""
    past = past_of(demo_now, demo.posterior)
    ahead = one_ahead(past)
    draw = demo.posterior.draws.isel(sample=number)
    log_rates = {
        **{t: float(draw[n.TYPE_LOG_RATE].sel({n.TYPE: t})) for t in demo.season.types},
        "head cold": float(draw[n.STRESSOR_LOG_RATE].sel({n.STRESSOR: "head cold"})),
        n.START: float(draw[n.START_LOG_RATE]),
    }
    given = inputs(demo, draw, log_rates)
    run = kalman.smooth(given)
    settled = np.setdiff1d(given.reading_nights, given.event_nights)[1:]
    assert len(settled) > 80
    noise = np.full(len(past.readings), np.nan)
    noise[given.reading_nights] = given.noise_variance
    mean, variance = ahead.mean[number], ahead.variance[number] + noise
    assert mean[settled] == pytest.approx(run.forecasts[0, settled], abs=1e-8)
    assert variance[settled] == pytest.approx(run.forecasts_error_cov[0, 0, settled], rel=1e-8)
    density = stats.norm.logpdf(past.readings, mean, np.sqrt(variance))[settled]
    assert density == pytest.approx(run.llf_obs[settled], abs=1e-7)


def test_a_session_first_shown_counts_as_any_of_its_type() -> None:
    """Its own z is 3; foretold, it is 0 on average and differs by the scatter of 0.2."""
    season = by_hand.season(30, [(20, "row")])
    known = Known({"row": (0.3, 2.0)}, session_sd=0.2, first_night=0.5)
    posterior = whole_posterior(season, known, draws=10_000, session_z=3.0)
    past = past_of(standing(season, posterior), posterior)
    mean = one_ahead(past).mean
    foretold = past.filtered.mean[0, 20] - mean[:, 21]
    assert np.median(foretold) == pytest.approx(0.3, rel=0.01)  # 3 Monte Carlo errors
    assert np.log(foretold).std() == pytest.approx(0.2, rel=0.03)
    settled = past.filtered.mean[0, 21] - mean[:, 22]
    assert settled == pytest.approx(0.3 * np.exp(0.6) / 0.5 * 0.5**0.5)


def simulated(nights: int, noise: float, seed: int = 5) -> Season:
    rng = np.random.default_rng(seed)
    level = 4.0 + np.cumsum(0.02 * rng.standard_normal(nights))
    return by_hand.season(readings=level + noise * rng.standard_normal(nights))


def test_the_range_is_that_of_the_forecast_density() -> None:
    """All draws alike and hardly a tail: quantiles of statsmodels' normal forecasts."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    season = simulated(60, 0.1)
    known = Known(noise_sd=0.1, noise_tail=1e-6, drift_sd=0.02)
    posterior = whole_posterior(season, known, draws=10_000, prior=Belief(3.9, 0.6))
    answer = worth(season, posterior)
    model = UnobservedComponents(season.data[n.LOG_RMSSD].values, "llevel")
    model.ssm.initialize_known(np.array([3.9]), np.array([[0.36]]))
    found = model.filter([0.01, 0.0004])
    sd = np.sqrt(found.forecasts_error_cov[0, 0, 1:])
    for bound, z in (("low", -1.2816), ("median", 0.0), ("high", 1.2816)):
        expected = found.forecasts[0, 1:] + z * sd
        # Five Monte Carlo errors of a quantile of 20,000 draws, at most 0.012 SD each.
        found_here = np.log(answer["foretold"].sel(bound=bound).values)
        assert found_here == pytest.approx(expected, abs=0.01)


# The record.


def test_share_inside_is_as_it_should_be_for_a_true_model() -> None:
    season = simulated(400, 0.1)
    known = Known(noise_sd=0.1, noise_tail=1e-6, drift_sd=0.02)
    answer = worth(season, whole_posterior(season, known))
    assert int(answer["judged"]) == 399
    low, middle, high = answer["share_by_chance"].values
    expected = stats.binom(399, 0.8).ppf([0.025, 0.5, 0.975]) / 399
    assert [low, middle, high] == pytest.approx(expected, abs=0.006)
    share = float(answer["share_inside"])
    assert low <= share <= high
    assert share == float(answer["inside"].mean())
    assert "so this is as it should be" in answer.attrs["sentences"][-2]


@pytest.mark.parametrize(
    ("believed", "said"), [(0.04, "the ranges are too narrow"), (0.3, "the ranges are too wide")]
)
def test_ranges_of_the_wrong_width_are_told(believed: float, said: str) -> None:
    season = simulated(200, 0.1)
    known = Known(noise_sd=believed, noise_tail=1e-6, drift_sd=0.02)
    answer = worth(season, whole_posterior(season, known))
    assert said in answer.attrs["sentences"][-2]


def test_recent_mean_is_over_seven_nights_of_the_same_sensor() -> None:
    values = np.log(np.arange(50.0, 70.0))
    values[5] = np.nan
    season = by_hand.season(readings=values, sensors=["clip"] * 12 + ["strap"] * 8)
    found = recent_mean(season)
    assert np.isnan(found[:4]).all()
    assert found[4] == pytest.approx(np.mean([50, 51, 52, 53]))
    assert found[9] == pytest.approx(np.mean([52, 53, 54, 56, 57, 58]))
    assert np.isnan(found[12:16]).all()
    assert found[16] == pytest.approx(np.mean([62, 63, 64, 65]))


def test_errors_are_over_the_same_readings() -> None:
    season = simulated(60, 0.1)
    answer = worth(season, whole_posterior(season, Known(noise_sd=0.1, drift_sd=0.02)))
    rows = answer.dropna("night", subset=["recent_mean_ms"])
    assert int(answer["compared"]) == rows.sizes["night"] == 56
    missed = np.abs(rows["foretold"].sel(bound="median") - rows["rmssd_ms"]).mean()
    assert float(answer["mean_error_ms"]) == pytest.approx(float(missed))
    missed = np.abs(rows["recent_mean_ms"] - rows["rmssd_ms"]).mean()
    assert float(answer["mean_error_of_recent_ms"]) == pytest.approx(float(missed))


def test_too_few_readings_to_compare_say_nothing_of_recent_nights() -> None:
    readings = np.full(60, np.nan)
    readings[::3] = 4.0
    season = by_hand.season(readings=readings)
    answer = worth(season, whole_posterior(season, Known()))
    assert int(answer["compared"]) == 0
    assert as_object(answer)["mean_error_ms"] is None
    assert not any("last 7 nights" in sentence for sentence in answer.attrs["sentences"])


# What the fit says of itself.


def with_checks(checks: FitChecks) -> Posterior:
    made = whole_posterior(by_hand.SEASON, Known({"row": (0.2, 1.0)}))
    return Posterior(
        made.tree, made.season_name, made.fingerprint, made.last_night, made.seed, checks
    )


def test_a_clean_fit_is_said_to_be_clean() -> None:
    answer = worth(by_hand.SEASON, with_checks(CLEAN))
    assert (int(answer["divergences"]), float(answer["ess_min"])) == (0, 2000.0)
    assert "without a divergent step in 4000 draws" in answer.attrs["sentences"][0]
    assert "R-hat at most 1.000" in answer.attrs["sentences"][1]


def test_complaints_of_a_fit_are_told_and_a_bad_one_is_refused() -> None:
    answer = worth(by_hand.SEASON, with_checks(FitChecks(3, 4000, 1.02, 900.0, 300.0)))
    said = " ".join(answer.attrs["sentences"])
    for complaint in ("3 divergent steps", "R-hat 1.020", "only 300 independent"):
        assert complaint in said
    with pytest.raises(NoAnswerError, match="No answer is given from such a fit"):
        worth(by_hand.SEASON, with_checks(FitChecks(0, 4000, 1.2, 900.0, 900.0)))


def test_readings_since_the_fit_are_left_out_and_that_is_said() -> None:
    posterior = whole_posterior(by_hand.season(30), Known())
    later = by_hand.season(33)
    answer = worth(later, posterior)
    assert int(answer["judged"]) == 29
    assert answer.attrs["warnings"] == [
        "Readings since the fit are left out (3); slackwater fit takes them in."
    ]


# On the demo season, and as it is shown.


def test_the_demo_season_is_foretold_better_than_by_recent_nights(demo: Fitted) -> None:
    answer = worth(demo.season, demo.posterior)
    assert int(answer["judged"]) == int(demo.season.read.sum()) - 1
    low, _, high = answer["share_by_chance"].values
    assert low <= float(answer["share_inside"]) <= high
    assert float(answer["mean_error_ms"]) < float(answer["mean_error_of_recent_ms"])


def test_text_and_json_hold_the_same(demo: Fitted) -> None:
    answer = worth(demo.season, demo.posterior)
    found: Any = as_object(answer)
    shown = printed(answer)
    assert max(map(len, shown.splitlines())) <= 80
    whole = " ".join(shown.split())
    for sentence in found["sentences"]:
        assert sentence in whole
    assert f"{100 * found['share_inside']:.0f} % lay in the range" in whole
    assert f"missed the reading by {found['mean_error_ms']:.1f} ms" in whole
    assert len(found["nights"]) == found["judged"]
    assert found["share_inside"] == np.mean([night["inside"] for night in found["nights"]])
    night = found["nights"][-1]
    assert (night["date"], night["rmssd_ms"]) == ("2031-07-06", pytest.approx(66.6))
    assert night["foretold_ms"]["low"] < night["foretold_ms"]["high"]
