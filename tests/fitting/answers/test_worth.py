"""What a fit is worth: one-step-ahead forecasts against statsmodels, and the record of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting import Athlete, worth
from slackwater.fitting.answers.worth import one_ahead, recent_mean
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import CLEAN, Known
from tests.fitting.answers.demo_by_hand import inputs
from tests.fitting.answers.whole_by_hand import whole_athlete, whole_posterior
from tests.fitting.conftest import Fitted
from tests.oracles import kalman

# One night ahead, against statsmodels.


@pytest.mark.parametrize("number", [0, 777, 3999])
def test_one_ahead_is_that_of_statsmodels(demo: Fitted, demo_athlete: Athlete, number: int) -> None:
    """Where no session is first shown: there the night's own dip is not the learnt one."""
    past = demo_athlete.past
    ahead = one_ahead(past, past.rng())
    draw = demo.posterior.draws.isel(sample=number)
    log_rates = {
        **{t: float(draw[n.TYPE_LOG_RATE].sel({n.TYPE: t})) for t in demo.season.types},
        "head cold": float(draw[n.STRESSOR_LOG_RATE].sel({n.STRESSOR: "head cold"})),
        n.START: float(draw[n.START_LOG_RATE]),
        n.UNLOGGED: float(draw[n.TYPE_RATE_MEAN]),
    }
    given = inputs(demo, draw, log_rates)
    run = kalman.smooth(given)
    settled = np.setdiff1d(given.reading_nights, given.event_nights)[1:]
    assert len(settled) > 80
    noise = np.full(len(past.readings), np.nan)
    noise[given.reading_nights] = given.noise_variance
    mean, variance = ahead[0][number], ahead[1][number] + noise
    assert mean[settled] == pytest.approx(run.forecasts[0, settled], abs=1e-8)
    assert variance[settled] == pytest.approx(run.forecasts_error_cov[0, 0, settled], rel=1e-8)
    density = stats.norm.logpdf(past.readings, mean, np.sqrt(variance))[settled]
    assert density == pytest.approx(run.llf_obs[settled], abs=1e-7)


def test_a_session_first_shown_counts_as_any_of_its_type() -> None:
    """Its own z is 3; foretold, it is 0 on average and differs by the scatter of 0.2."""
    season = by_hand.season(30, [(20, "row")])
    known = Known({"row": (0.3, 2.0)}, session_sd=0.2, first_night=0.5)
    past = whole_athlete(season, known, draws=10_000, session_z=3.0).past
    mean, _ = one_ahead(past, past.rng())
    foretold = past.filtered.expected[0, 21] - mean[:, 21]
    assert np.median(foretold) == pytest.approx(0.3, rel=0.01)  # 3 Monte Carlo errors
    assert np.log(foretold).std() == pytest.approx(0.2, rel=0.03)
    settled = past.filtered.expected[0, 22] - mean[:, 22]
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
    answer = worth(whole_athlete(season, known, draws=10_000, prior=Belief(3.9, 0.6)))
    model = UnobservedComponents(season.data[n.LOG_RMSSD].values, "llevel")
    model.ssm.initialize_known(np.array([3.9]), np.array([[0.36]]))
    found = model.filter([0.01, 0.0004])
    sd = np.sqrt(found.forecasts_error_cov[0, 0, 1:])
    for bound, z in (("low", -1.2816), ("median", 0.0), ("high", 1.2816)):
        expected = found.forecasts[0, 1:] + z * sd
        # Five Monte Carlo errors of a quantile of 20,000 draws, at most 0.012 SD each.
        found_here = np.log(answer.nights["foretold_ms"].sel(bound=bound).values)
        assert found_here == pytest.approx(expected, abs=0.01)


# The record.


def test_share_inside_is_as_it_should_be_for_a_true_model() -> None:
    season = simulated(400, 0.1)
    known = Known(noise_sd=0.1, noise_tail=1e-6, drift_sd=0.02)
    answer = worth(whole_athlete(season, known, draws=2500))  # so that ranges are sharp
    assert answer.judged == 399
    by_chance = answer.share_by_chance
    expected = stats.binom(399, 0.8).ppf([0.025, 0.5, 0.975]) / 399
    assert by_chance == pytest.approx(expected, abs=0.006)
    share = answer.share_inside
    assert by_chance.low <= share <= by_chance.high
    assert share == float(answer.nights["inside"].mean())
    assert answer.ranges == "as they should be"
    assert answer.sentences[-2] == Reason(
        "share inside",
        readings=399,
        share=share,
        level=0.8,
        low=by_chance.low,
        high=by_chance.high,
        ranges="as they should be",
    )


@pytest.mark.parametrize(("believed", "ranges"), [(0.04, "too narrow"), (0.3, "too wide")])
def test_ranges_of_the_wrong_width_are_told(believed: float, ranges: str) -> None:
    season = simulated(200, 0.1)
    known = Known(noise_sd=believed, noise_tail=1e-6, drift_sd=0.02)
    answer = worth(whole_athlete(season, known))
    assert answer.ranges == ranges
    assert answer.sentences[-2].facts["ranges"] == ranges


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
    answer = worth(whole_athlete(season, Known(noise_sd=0.1, drift_sd=0.02)))
    rows = answer.nights.dropna("night", subset=["recent_mean_ms"])
    assert answer.compared == rows.sizes["night"] == 56
    missed = np.abs(rows["foretold_ms"].sel(bound="median") - rows["rmssd_ms"]).mean()
    assert answer.mean_error_ms == pytest.approx(float(missed))
    missed = np.abs(rows["recent_mean_ms"] - rows["rmssd_ms"]).mean()
    assert answer.mean_error_of_recent_ms == pytest.approx(float(missed))
    errors = {"error": answer.mean_error_ms, "error_of_recent": answer.mean_error_of_recent_ms}
    assert answer.sentences[-1] == Reason("errors compared", nights=7, **errors)


def test_too_few_readings_to_compare_say_nothing_of_recent_nights() -> None:
    readings = np.full(60, np.nan)
    readings[::3] = 4.0
    answer = worth(whole_athlete(by_hand.season(readings=readings), Known()))
    assert answer.compared == 0
    assert np.isnan([answer.mean_error_ms, answer.mean_error_of_recent_ms]).all()
    assert answer.sentences[-1].code == "share inside"


# What the fit says of itself.


def with_checks(checks: FitChecks) -> Athlete:
    made = whole_posterior(by_hand.SEASON, Known({"row": (0.2, 1.0)}))
    return Athlete(by_hand.SEASON, replace(made, checks=checks))


def test_a_clean_fit_is_said_to_be_clean() -> None:
    answer = worth(with_checks(CLEAN))
    assert (answer.divergences, answer.ess_min) == (0, 2000.0)
    assert answer.sentences[:3] == (
        Reason("no divergences", draws=4000),
        Reason("chains agree", rhat=1.0),
        Reason("enough effective draws", ess=2000.0),
    )


def test_complaints_of_a_fit_are_told_and_a_bad_one_is_refused() -> None:
    answer = worth(with_checks(FitChecks(3, 4000, 1.02, 900.0, 300.0)))
    complaints = (
        Reason("divergences", count=3, draws=4000),
        Reason("chains disagree", rhat=1.02),
        Reason("few effective draws", ess=300.0),
    )
    assert answer.sentences[:3] == answer.about.warnings == complaints
    with pytest.raises(NoAnswerError) as refused:
        worth(with_checks(FitChecks(0, 4000, 1.2, 900.0, 900.0)))
    assert refused.value.reasons[-1] == Reason("unusable fit")


def test_readings_since_the_fit_are_left_out_and_that_is_said() -> None:
    posterior = whole_posterior(by_hand.season(30), Known())
    answer = worth(Athlete(by_hand.season(33), posterior))
    assert answer.judged == 29
    assert answer.about.warnings == (Reason("readings left out", count=3),)


def test_the_demo_season_is_foretold_better_than_by_recent_nights(
    demo: Fitted, demo_athlete: Athlete
) -> None:
    answer = worth(demo_athlete)
    assert answer.judged == int(demo.season.read.sum()) - 1
    # Which side of an edge a reading lies on is known to 3 Monte Carlo errors of a range's end.
    readings = np.log(answer.nights["rmssd_ms"])
    low, high = (np.log(answer.nights["foretold_ms"].sel(bound=b)) for b in ("low", "high"))
    draws = demo.posterior.draws.sizes["sample"]
    error = 3 * np.sqrt(0.1 * 0.9 / draws) / stats.norm.pdf(1.2816) * (high - low) / 2.5631
    surely, perhaps = (
        float(((readings >= low + e) & (readings <= high - e)).mean()) for e in (error, -error)
    )
    assert surely <= answer.share_inside <= perhaps
    assert answer.share_by_chance.low <= perhaps
    assert surely <= answer.share_by_chance.high
    assert answer.mean_error_ms < answer.mean_error_of_recent_ms
