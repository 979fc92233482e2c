"""Baseline and recovery over the whole history, on posteriors made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from scipy import stats

from slackwater.fitting import Athlete, Posterior, history
from slackwater.fitting.answers.history import Habit, History
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import Belief
from slackwater.model.season import DAY, Season
from tests.demo_season import demo_season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_athlete, whole_posterior
from tests.fitting.conftest import Fitted

CERTAIN = Known(noise_sd=1e-4, drift_sd=0.02)  # readings that say baseline outright
EXACT = 0.001  # what such readings leave open, relative


def asked(season: Season, known: Known = CERTAIN, since: int | None = None, **more: Any) -> History:
    day = None if since is None else FIRST + DAY * since
    return history(whole_athlete(season, known, **more), day)


def middles(answer: History) -> list[float]:
    """Return the middle of each quarter's mean baseline, ln ms."""
    return [float(np.log(quarter.baseline_rmssd_ms.median)) for quarter in answer.quarters]


# The smoothed baseline, against statsmodels.


def smoothed_by_statsmodels(
    readings: Any, noise: float, drift: float, mean: float, variance: float
) -> tuple[Any, Any]:
    """Mean and variance of a local level given all readings (Durbin & Koopman 2012, ch. 2)."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    model = UnobservedComponents(np.asarray(readings, float), "llevel")
    model.ssm.initialize_known(np.array([mean]), np.array([[variance]]))
    found = model.smooth([noise, drift])
    return found.smoothed_state[0], found.smoothed_state_cov[0, 0]


def flow() -> Any:
    from statsmodels.datasets import nile

    return nile.load_pandas().data["volume"].to_numpy(float).copy()


@pytest.mark.parametrize("gaps", [False, True])
def test_smoothed_baseline_of_one_parameter_set_is_that_of_statsmodels(gaps: bool) -> None:
    """The Nile with the variances of Durbin & Koopman 2012, whole and with the gaps of 2.7."""
    noise, drift, mean, variance = 15099.0, 1469.1, 1000.0, 1e5
    values = flow()
    if gaps:
        values[20:40] = values[60:80] = np.nan
    season = by_hand.season(readings=values)
    known = Known(noise_sd=np.sqrt(noise), drift_sd=np.sqrt(drift))
    prior = Belief(mean, np.sqrt(variance))
    paths = whole_athlete(season, known, draws=5000, prior=prior).past.level
    expected, spread = smoothed_by_statsmodels(values, noise, drift, mean, variance)
    size = len(paths)
    # 5 Monte Carlo errors of a mean, and of a variance, which are sqrt(2 / S) of it.
    assert np.abs(paths.mean(axis=0) - expected).max() <= 5 * np.sqrt(spread / size).max()
    assert paths.var(axis=0) == pytest.approx(spread, rel=5 * np.sqrt(2 / size))


def test_dips_and_sensor_steps_are_taken_out_before_smoothing() -> None:
    """What statsmodels smooths once session dips, a stressor and a step are put back by hand."""
    rng = np.random.default_rng(6)
    level = 4.0 + np.cumsum(0.01 * rng.standard_normal(40)) + 0.1 * rng.standard_normal(40)
    types = {"row": (0.3, 2.0)}
    z = np.array([0.5, -1.0, 0.0])
    readings = level.copy()
    events = [(6, 0.3 * np.exp(0.2 * z[0]), 2.0), (16, 2 * 0.3 * np.exp(0.2 * z[1]), 2.0)]
    events += [(31, 0.3, 2.0), (21, 0.15, 1.0), (0, 0.2, np.log(2) * np.e)]
    for night, dip, half_life in events:
        readings[night:] -= dip * 0.5 ** (np.arange(40 - night) / half_life)
    readings[:18] += 0.12
    season = by_hand.season(
        sessions=[(5, "row"), (15, "row"), (30, "row")],
        doses={15: 2.0},
        stressors=[(20, "cold")],
        readings=readings,
        sensors=["clip"] * 18 + ["strap"] * 22,
    )
    known = Known(types, {"cold": (0.15, 1.0)}, sensor_steps={"clip": 0.12})
    athlete = whole_athlete(
        season, known, draws=5000, session_z=z, start_dip=0.2, prior=Belief(3.9, 0.6)
    )
    paths = athlete.past.level
    expected, spread = smoothed_by_statsmodels(level, 0.01, 0.0001, 3.9, 0.36)
    assert np.abs(paths.mean(axis=0) - expected).max() <= 5 * np.sqrt(spread / len(paths)).max()


def test_the_last_night_is_where_the_fit_left_it(demo: Fitted, demo_athlete: Athlete) -> None:
    paths = demo_athlete.past.level
    last = demo.posterior.last
    standard = (paths[:, -1] - last["level_mean"].values[:, 0]) / np.sqrt(
        last["level_covariance"].values[:, 0, 0]
    )
    assert stats.kstest(standard, "norm").pvalue > 1e-4


# Quarters.


def test_quarters_are_those_of_the_calendar() -> None:
    season = by_hand.season(150, readings=list(np.linspace(4.0, 4.3, 150)))  # from 1 March
    answer = asked(season)
    told = [(q.quarter, str(q.first), str(q.last), q.nights) for q in answer.quarters]
    assert told == [
        ("2031 Q1", "2031-03-01", "2031-03-31", 31),
        ("2031 Q2", "2031-04-01", "2031-06-30", 91),
        ("2031 Q3", "2031-07-01", "2031-07-28", 28),
    ]
    step = 0.3 / 149
    means = [4.0 + step * at for at in (15, 31 + 45, 122 + 13.5)]
    assert middles(answer) == pytest.approx(means, abs=EXACT)
    first, *others = answer.quarters
    changes = [quarter.change_percent.median for quarter in others if quarter.change_percent]
    assert changes == pytest.approx(100 * np.expm1(np.diff(means)), abs=100 * EXACT)
    assert [quarter.chance_rose for quarter in others] == [1.0, 1.0]
    assert {first.change_percent, first.drift_alone_percent} == {None}
    assert {first.chance_rose, first.chance_drift_as_large} == {None}


def test_nights_before_the_first_reading_are_in_no_quarter() -> None:
    known = CERTAIN._replace(types={"row": (1e-9, 1.0)})
    season = by_hand.season(40, [(-10, "row"), (8, "row")])
    answer = asked(season, known)
    assert season.first_night < FIRST
    assert answer.quarters[0].first == FIRST


def test_one_quarter_alone_has_no_change() -> None:
    (quarter,) = asked(by_hand.season(20)).quarters
    assert quarter.change_percent is None


# A habit.


def kept(season: Season, known: Known = CERTAIN, since: int = 0, **more: Any) -> Habit:
    """Return the change with a habit that was kept from a day on."""
    habit = asked(season, known, since, **more).habit
    assert habit is not None
    return habit


def test_change_with_a_habit_is_after_minus_the_same_length_before() -> None:
    readings: Any = np.full(100, 4.0)
    readings[61:] = 4.1  # kept from day 60 on, whose night is dated day 61
    readings[:22] = 5.0  # farther back than it compares
    habit = kept(by_hand.season(readings=readings), since=60)
    assert habit.change_percent.median == pytest.approx(100 * np.expm1(0.1), rel=0.01)
    assert habit.change_ms.median == pytest.approx(np.exp(4.1) - np.exp(4), rel=0.01)
    assert habit.chance_rose == 1.0
    assert (habit.before.nights, habit.after.nights) == (39, 39)
    assert habit.before.last == FIRST + DAY * 60
    assert habit.after.first == FIRST + DAY * 61
    assert habit.before.first == FIRST + DAY * 22


def test_a_long_time_after_is_cut_to_what_there_was_before() -> None:
    habit = kept(by_hand.season(100), since=19)
    assert (habit.before.nights, habit.after.nights) == (20, 20)
    assert habit.after.last == FIRST + DAY * 39


@pytest.mark.parametrize("length", [20, 45])
def test_what_drift_alone_makes_of_two_stretches(length: int) -> None:
    """Its variance is (2 L^2 + 1) / (3 L) drift variances.

    The step into the k-th night of the first stretch moves the difference by (k - 1) / L, that into
    the k-th night of the second by (L - k + 1) / L (arithmetic).
    """
    habit = kept(by_hand.season(2 * length), since=length - 1, draws=20_000)
    sd = CERTAIN.drift_sd * np.sqrt((2 * length**2 + 1) / (3 * length))
    low, _, high = np.log1p(np.divide(habit.drift_alone_percent, 100))
    # A quantile's Monte Carlo error is sqrt(p (1 - p) / S) over the density there.
    error = 5 * np.sqrt(0.09 / 40_000) / stats.norm.pdf(1.2816) * sd
    assert [low, high] == pytest.approx([-1.2816 * sd, 1.2816 * sd], abs=error)


def test_the_chance_that_drift_alone_moves_as_far_against_simulated_walks() -> None:
    length, step = 30, 0.08
    readings: Any = np.full(2 * length, 4.0)
    readings[length:] += step
    habit = kept(by_hand.season(readings=readings), since=length - 1, draws=10_000)
    rng = np.random.default_rng(4)
    walks = np.cumsum(0.02 * rng.standard_normal((20_000, 2 * length)), axis=1)
    moved = walks[:, length:].mean(axis=1) - walks[:, :length].mean(axis=1)
    share = float((np.abs(moved) >= step).mean())
    assert habit.chance_drift_as_large == pytest.approx(
        share, abs=5 * np.sqrt(0.25 / 20_000) * np.sqrt(2)
    )


def test_what_else_was_logged_is_told_with_the_habit() -> None:
    season = by_hand.season(
        60,
        [(3, "row"), (29, "row"), (30, "row"), (40, "lift")],
        interventions=[(10, "bath"), (50, "bath"), (51, "bath")],
        stressors=[(35, "cold")],
        sensors=["clip"] * 40 + ["strap"] * 20,
    )
    known = CERTAIN._replace(
        types={"lift": (1e-9, 1.0), "row": (1e-9, 1.0)},
        stressors={"cold": (1e-9, 1.0)},
        rate_ratios={"bath": 1.0},
        sensor_steps={"clip": 0.0},
    )
    habit = kept(season, known, since=29)
    assert {row.what: (row.before, row.after) for row in habit.meanwhile} == {
        Reason("sessions of a type", label="row"): (1, 2),  # that of day 29 shows on day 30
        Reason("sessions of a type", label="lift"): (0, 1),
        Reason("days of a stressor", label="cold"): (0, 1),
        Reason("nights with a measure", label="bath"): (1, 2),
        Reason("readings by a sensor", label="clip"): (30, 10),
        Reason("readings by a sensor", label="strap"): (0, 20),
    }


@pytest.mark.parametrize("since", [-5, 59, 400])
def test_a_day_outside_the_fit_is_refused(since: int) -> None:
    with pytest.raises(QuestionError, match="give a day from 2031-03-01 to 2031-04-28"):
        asked(by_hand.season(60), since=since)


@pytest.mark.parametrize("since", [10, 48])
def test_too_few_readings_on_one_side_are_refused(since: int) -> None:
    with pytest.raises(NoAnswerError) as refused:
        asked(by_hand.season(60), since=since)
    day = str(FIRST + DAY * since)
    facts = {"day": day, "readings": 11, "needed": 14}
    assert refused.value.reasons == (Reason("too few readings on a side", **facts),)


# Sensors.


def test_baseline_is_on_the_scale_of_the_latest_sensor() -> None:
    readings: Any = np.full(61, 4.0)
    readings[:31] += 0.12
    season = by_hand.season(readings=readings, sensors=["clip"] * 31 + ["strap"] * 30)
    answer = asked(season, CERTAIN._replace(sensor_steps={"clip": 0.12}))
    assert middles(answer) == pytest.approx([4.0, 4.0], abs=EXACT)
    clip, strap = answer.sensors
    assert (clip.sensor, clip.first, clip.last) == ("clip", FIRST, FIRST + DAY * 30)
    assert clip.nights_read == 31
    assert not clip.reference
    assert clip.step_percent is not None
    assert clip.step_percent.median == pytest.approx(100 * np.expm1(0.12))
    assert (strap.sensor, strap.reference, strap.step_percent) == ("strap", True, None)


# Recovery, earlier against later.


def rowed_and_lifted(z: dict[str, tuple[float, float]]) -> History:
    """Ten sessions of each type, five in either half, z the same within a half."""
    days = [1 + 3 * i for i in range(10)] + [40 + 3 * i for i in range(10)]
    sessions = [(day, ("lift", "row")[i % 2]) for i, day in enumerate(days)]
    season = by_hand.season(80, sessions)
    values = [z[label][day >= 40] for day, label in sessions]
    known = CERTAIN._replace(types={"lift": (1e-9, 1.0), "row": (1e-9, 1.0)}, session_sd=0.2)
    return asked(season, known, session_z=values)


def test_recovery_that_did_not_change_is_not_told() -> None:
    answer = rowed_and_lifted({"row": (0.3, -0.3), "lift": (-0.2, 0.6)})
    assert not any(change.shown for change in answer.recovery.types)
    assert answer.about.warnings == ()


def test_recovery_that_changed_is_told_with_its_size() -> None:
    # Five sessions against five with z known: S = 10 / 4, T = 10 (1 / 2) 1.2 = 6.
    answer = rowed_and_lifted({"row": (-1.2, 1.2), "lift": (0.2, 0.2)})
    told = [(change.kind, change.shown) for change in answer.recovery.types]
    assert told == [("all types together", True), ("lift", False), ("row", True)]
    mean = 0.2 * 6 / (2.5 + (0.2 / 0.3) ** 2)
    row = answer.recovery.types[2]
    assert np.log1p(row.dip_change_percent.median / 100) == pytest.approx(mean, abs=0.03)
    assert (row.earlier, row.later, row.direction) == (5, 5, "deeper")
    assert answer.about.warnings == (Reason("sessions changed"),)
    less = rowed_and_lifted({"row": (1.2, -1.2), "lift": (0.2, 0.2)}).recovery.types[2]
    assert (less.shown, less.direction) == (True, "less deep")
    assert less.chance_deeper < 0.025


@pytest.mark.parametrize("spread", [0.5, 2.0])
def test_the_change_of_dips_against_a_conjugate_model(spread: float) -> None:
    """Each session's z measured once, with a normal error: all is normal, and on paper.

    With x = z + error, z ~ N(change * contrast, 1): x ~ N(change * contrast, 1 + spread^2), so
    the precision of the change is S / (1 + spread^2) beside its prior's.
    """
    rng = np.random.default_rng(9)
    sessions = [(2 * day, "row") for day in range(40)]
    season = by_hand.season(82, sessions)
    later = (season.session_nights() >= 41).astype(float)
    contrast = later - later.mean()
    measured = 1.5 * contrast + np.hypot(1.0, spread) * rng.standard_normal(40)
    share = 1 / (1 + spread**2)
    size = (by_hand.CHAINS, 10_000)
    z = share * measured + np.sqrt(1 - share) * rng.standard_normal((*size, 40))
    known = CERTAIN._replace(types={"row": (1e-9, 1.0)}, session_sd=0.2)
    answer = asked(season, known, session_z=z, draws=size[1])
    precision = share * contrast @ contrast + (0.2 / 0.3) ** 2
    expected = share * measured @ contrast / precision
    change = answer.recovery.types[1].dip_change_percent
    low, median, high = np.log1p(np.divide(change, 100)) / 0.2
    # T's variance is known within sqrt(2 / S) of itself from S draws, here well under 0.05.
    assert median == pytest.approx(expected, abs=0.08)
    assert high - low == pytest.approx(2 * 1.2816 / np.sqrt(precision), rel=0.08)


def test_too_few_sessions_in_a_half_say_nothing() -> None:
    known = CERTAIN._replace(types={"row": (1e-9, 1.0)})
    answer = asked(by_hand.season(60, [(3, "row"), (9, "row"), (50, "row")]), known)
    assert answer.recovery.types == ()
    assert asked(by_hand.season(60)).recovery.types == ()


# What it is answered from.


def test_readings_since_the_fit_are_left_out_and_that_is_said() -> None:
    fitted = by_hand.season(40)
    posterior = whole_posterior(fitted, CERTAIN)
    later = by_hand.season(45, readings=[4.0] * 40 + [9.0] * 5)
    answer = history(Athlete(later, posterior))
    assert answer.about.last_night == FIRST + DAY * 39
    assert answer.quarters[-1].last == FIRST + DAY * 39
    assert answer.about.warnings == (Reason("readings left out", count=5),)


def test_a_past_that_was_edited_is_refused() -> None:
    posterior = whole_posterior(by_hand.season(40), CERTAIN)
    table = pd.DataFrame({"date": [FIRST + DAY * 100], "log_rmssd": [4.0]})
    for season in (
        by_hand.season(40, readings=[4.2] * 40),
        by_hand.season(20),
        Season.from_tables("spring", table),
    ):
        with pytest.raises(NoAnswerError, match="edited since the fit"):
            history(Athlete(season, posterior))


def test_types_listed_in_another_order_since_the_fit_change_nothing() -> None:
    sessions = [(3 * i, ("lift", "row")[i % 2]) for i in range(12)]
    kinds: dict[str, dict[str, str]] = {"lift": {"mode": "a"}, "row": {"mode": "b"}}
    turned = dict(reversed(kinds.items()))
    known = CERTAIN._replace(types={"lift": (0.3, 3.0), "row": (0.05, 1.0)})
    season = by_hand.season(40, sessions, attributes=kinds)
    posterior = whole_posterior(season, known)
    again = history(Athlete(by_hand.season(40, sessions, attributes=turned), posterior))
    assert middles(again) == pytest.approx(middles(history(Athlete(season, posterior))))


def test_many_draws_of_many_nights_are_thinned_and_that_is_said() -> None:
    answer = asked(by_hand.season(400), draws=2000)
    assert (answer.draws_used, answer.draws_in_all) == (2500, 4000)
    assert asked(by_hand.season(200), draws=2000).draws_used == 4000


# On the demo season.


def test_quarters_hold_the_true_baseline_of_the_demo_season(demo_athlete: Athlete) -> None:
    simulated = demo_season()
    nights = simulated.season.nights
    for quarter in history(demo_athlete, level=0.98).quarters:
        mine = (nights >= quarter.first) & (nights <= quarter.last)
        truth = float(np.exp(simulated.baseline[mine].mean()))
        assert quarter.baseline_rmssd_ms.low <= truth <= quarter.baseline_rmssd_ms.high


def test_a_stored_posterior_answers_like_the_one_just_fitted(
    demo: Fitted, demo_athlete: Athlete
) -> None:
    """Reading the file may leave out the baseline's prior; that moves nothing."""
    stored = history(Athlete(demo.season, Posterior.load(demo.folder)))
    for again, fresh in zip(stored.quarters, history(demo_athlete).quarters, strict=True):
        assert again.baseline_rmssd_ms == pytest.approx(fresh.baseline_rmssd_ms, rel=1e-9)


# Years: recovery as it was, where the fit let it change.


def of_years() -> Athlete:
    """Return 400 nights with dips exp(0.2) as deep half a year back, exp(0.1) a year back."""
    season = by_hand.season(400, [(20, "row"), (200, "row"), (390, "row")])
    made = whole_posterior(season, CERTAIN._replace(types={"row": (0.2, 1.0)}))
    draws = made.tree["posterior"].to_dataset()
    one, steps = xr.ones_like(draws["drift_sd"]), {"half_year": ["1", "2", "3"]}
    tree = made.tree.copy()
    tree["posterior"] = xr.DataTree(
        draws.assign(
            dip_trend_sd=0.1 * one,
            rate_trend_sd=0.2 * one,
            dip_trend_z=one * xr.DataArray([2.0, -1.0, 0.0], steps),
            rate_trend_z=one * xr.DataArray([-1.0, 1.0, 0.0], steps),
        )
    )
    return Athlete(season, replace(made, tree=tree))


def test_recovery_of_earlier_years_is_told_against_now() -> None:
    athlete = of_years()
    recovery = history(athlete).recovery
    assert recovery.types == ()
    half, whole = recovery.half_years
    last = athlete.season.last_night
    assert (half.night, whole.night) == (last - DAY * 182, last - DAY * 364)
    deeper = [then.dip_then_percent.median for then in (half, whole)]
    assert deeper == pytest.approx(100 * np.expm1([0.2, 0.1]))
    slower = [then.half_life_then_percent.median for then in (half, whole)]
    assert slower == pytest.approx(100 * np.expm1([0.2, 0.0]))
    assert [then.chance_deeper_then for then in (half, whole)] == [1.0, 1.0]
    assert half.chance_slower_then == 1.0


def test_earlier_sessions_own_recovery_is_that_of_their_time() -> None:
    athlete = of_years()
    own = athlete.own_recovery
    ages = (athlete.season.nights[-1] - own.dates - DAY) / DAY
    deeper = np.interp(ages, [0, 182, 364, 546], [0, 0.2, 0.1, 0.1])
    assert own.first_night_dips[0] == pytest.approx(0.2 * np.exp(deeper))
