"""Forecasts, against closed forms of a state made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import integrate, stats

from slackwater.fitting import Athlete, PlannedSession, forecast
from slackwater.fitting.answers.forecast import planned_events
from slackwater.fitting.state.ahead import days_until_baseline, look_ahead
from slackwater.fitting.state.standing import Event
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known

NIGHTS = 30
LAST = FIRST + DAY * (NIGHTS - 1)
KNOWN = Known(
    {"hill run": (0.3, 1.0), "row": (0.1, 2.0)},
    dips_left={"hill run": 0.08, "unlogged start": 0.05},
    level=4.1,
    level_variance=0.02**2,
    drift_sd=0.01,
    noise_sd=0.1,
    noise_tail=0.8,
    session_sd=1e-12,
    start_half_life=2.0,
)
LOGGED = [(3, "hill run"), (9, "row"), (15, "hill run")]


def rower(known: Known = KNOWN, *sessions: tuple[int, str], draws: int = 500) -> Athlete:
    return by_hand.athlete_of(by_hand.season(NIGHTS, [*LOGGED, *sessions]), known, draws)


def resting_dip(night: int) -> float:
    return float(0.08 * 0.5**night + 0.05 * 0.5 ** (night / 2))


def test_mean_and_sd_of_a_known_state() -> None:
    answer = forecast(rower(), nights=5)
    # The mean of exp(tail * u) over u ~ Normal(0, 1) is exp(tail^2 / 2).
    noise = 0.1**2 * np.exp(0.8**2 / 2)
    for i in range(5):
        h = i + 1
        assert answer.nights["night"].values[i] == (LAST + DAY * h).astype("datetime64[ns]")
        assert float(answer.nights["ln_mean"][i]) == pytest.approx(4.1 - resting_dip(h))
        assert float(answer.nights["ln_sd"][i]) ** 2 == pytest.approx(0.02**2 + h * 0.01**2 + noise)


def test_the_spread_between_draws_adds_to_the_sd() -> None:
    level = np.repeat([3.9, 4.3], 500)  # SD 0.2
    apart = forecast(rower(KNOWN._replace(level=level)))
    together = forecast(rower(KNOWN._replace(level=4.1)))
    assert float(apart.nights["ln_mean"][0]) == pytest.approx(float(together.nights["ln_mean"][0]))
    assert float(apart.nights["ln_sd"][0]) ** 2 == pytest.approx(
        float(together.nights["ln_sd"][0]) ** 2 + 0.2**2
    )


def reading_cdf(value: float, night: int) -> float:
    """The law of ln RMSSD: normal, its variance a log-normal mixture."""

    def density(u: float) -> float:
        variance = 0.02**2 + night * 0.01**2 + 0.1**2 * np.exp(0.8 * u)
        centre = 4.1 - resting_dip(night)
        return float(stats.norm.pdf(u) * stats.norm.cdf(value, centre, np.sqrt(variance)))

    return float(integrate.quad(density, -8, 8, epsabs=1e-10)[0])


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_quantiles_of_the_coming_readings(level: float) -> None:
    draws = 10_000
    answer = forecast(rower(draws=draws), nights=3, level=level)
    for night in (1, 3):
        bounds = np.log(answer.nights["rmssd_ms"].isel(night=night - 1).values)
        for value, share in zip(bounds, [(1 - level) / 2, 0.5, (1 + level) / 2], strict=True):
            # Within 5 Monte Carlo errors of the share (two-sided 6e-7).
            error = 5 * np.sqrt(share * (1 - share) / (by_hand.CHAINS * draws))
            assert reading_cdf(value, night) == pytest.approx(share, abs=error)


def test_moments_and_simulated_readings_agree() -> None:
    athlete = rower(KNOWN._replace(session_sd=0.4), (NIGHTS - 1, "hill run"), draws=10_000)
    answer = forecast(athlete, nights=2)
    reading = look_ahead(athlete.now, 2, []).reading
    size = len(reading)
    mean, sd = answer.nights["ln_mean"].values, answer.nights["ln_sd"].values
    assert np.all(np.abs(reading.mean(axis=0) - mean) < 5 * sd / np.sqrt(size))
    excess = stats.kurtosis(reading, axis=0)
    error = reading.std(axis=0) * np.sqrt((excess + 2) / (4 * size))
    assert np.all(np.abs(reading.std(axis=0) - sd) < 5 * error)


def test_a_planned_session_dips_the_morning_after_its_date() -> None:
    athlete = rower()
    rest = forecast(athlete, nights=6).nights["ln_mean"].values
    plan = [PlannedSession(LAST + DAY * 2, "hill run")]
    added = rest - forecast(athlete, nights=6, planned=plan).nights["ln_mean"].values
    # Nothing up to the session's own morning, its dip of 0.3 on the next, halved each day after.
    assert added == pytest.approx([0, 0, 0.3, 0.15, 0.075, 0.0375])


def test_a_session_planned_for_the_day_of_the_last_reading_dips_the_next_morning() -> None:
    athlete = rower()
    rest = forecast(athlete, nights=2).nights["ln_mean"].values
    plan = [PlannedSession(LAST, "row", dose=2.0)]
    added = rest - forecast(athlete, nights=2, planned=plan).nights["ln_mean"].values
    assert added == pytest.approx([0.2, 0.2 * 0.5**0.5])


@pytest.mark.parametrize("share", [0.5, 2.0])
def test_a_first_night_may_show_another_share_of_the_dip(share: float) -> None:
    athlete = rower(KNOWN._replace(first_night=share))
    plan = [PlannedSession(LAST + DAY, "hill run")]
    rest, planned = forecast(athlete, nights=4), forecast(athlete, nights=4, planned=plan)
    added = (rest.nights["ln_mean"] - planned.nights["ln_mean"]).values
    decaying = 0.3 / share
    assert added == pytest.approx([0, 0.3, decaying / 2, decaying / 4])
    # The state itself is as far down on the first night as the dip that decays says.
    days = tuple(planned.days_to_baseline)
    two_others = look_ahead(athlete.now, 12, planned_events(athlete.now, plan)).dip[0]
    assert days == pytest.approx([float(np.argmax(two_others <= 0.05)) + 1] * 3, abs=1.0)


def test_simulated_readings_hold_back_the_same() -> None:
    known = KNOWN._replace(first_night=0.4, session_sd=0.3)
    athlete = rower(known, (NIGHTS - 1, "hill run"), draws=10_000)
    answer = forecast(athlete, nights=2)
    reading = look_ahead(athlete.now, 2, []).reading
    error = 5 * answer.nights["ln_sd"].values / np.sqrt(len(reading))
    assert np.all(np.abs(reading.mean(axis=0) - answer.nights["ln_mean"].values) < error)


def test_planned_sessions_add_up() -> None:
    athlete = rower()
    first, second = (PlannedSession(LAST + DAY * d, "row") for d in (0, 1))
    means = [
        forecast(athlete, nights=4, planned=plan).nights["ln_mean"].values
        for plan in ([], [first], [second], [first, second])
    ]
    assert means[0] - means[3] == pytest.approx(2 * means[0] - means[1] - means[2])


def test_a_session_logged_on_the_last_day_is_in_the_forecast() -> None:
    logged = rower(KNOWN, (NIGHTS - 1, "row"))
    answer = forecast(logged, nights=3)
    planned = forecast(rower(), nights=3, planned=[PlannedSession(LAST, "row")])
    assert answer.nights["ln_mean"].values == pytest.approx(planned.nights["ln_mean"].values)
    assert answer.sessions == planned.sessions == (f"{LAST} row",)


def test_a_logged_dose_scales_the_dip() -> None:
    def mean(dose: float) -> Any:
        season = by_hand.season(NIGHTS, [*LOGGED, (NIGHTS - 1, "row")], doses={NIGHTS - 1: dose})
        return forecast(by_hand.athlete_of(season, KNOWN)).nights["ln_mean"].values

    assert mean(1.0) - mean(1.5) == pytest.approx([0.05])


def test_a_coming_session_scatters_as_sessions_do() -> None:
    draws = 10_000
    known = KNOWN._replace(dips_left={}, session_sd=0.5)
    dip = look_ahead(rower(known, (NIGHTS - 1, "row"), draws=draws).now, 1, []).dip[:, 0]
    # Kolmogorov-Smirnov; 1e-4 is how often this would fail by chance.
    assert stats.kstest(np.log(dip), stats.norm(np.log(0.1), 0.5).cdf).pvalue > 1e-4


def test_a_measure_on_every_coming_night_works_once_even_where_it_is_logged() -> None:
    known = KNOWN._replace(rate_ratios={"bath": 2.0}, dips_left={"hill run": 0.4})
    for applied in ([], [(NIGHTS, "bath")], [(d, "bath") for d in range(NIGHTS - 1, NIGHTS + 3)]):
        season = by_hand.season(NIGHTS, LOGGED, interventions=applied)
        athlete = by_hand.athlete_of(season, known)
        dip = look_ahead(athlete.now, 3, [], measures=("bath",)).dip
        np.testing.assert_allclose(dip, np.tile([0.1, 0.025, 0.00625], (len(dip), 1)))


def test_a_measure_lifts_the_readings_of_its_nights_and_no_state() -> None:
    season = by_hand.season(NIGHTS, LOGGED, interventions=[(3, "bath"), (NIGHTS, "bath")])
    known = KNOWN._replace(rate_ratios={"bath": 1.0})
    lifted, plain = (
        by_hand.athlete_of(season, known._replace(lifts={"bath": lift})) for lift in (0.07, 0.0)
    )
    with_it, without = forecast(lifted, nights=3), forecast(plain, nights=3)
    added = (with_it.nights["ln_mean"] - without.nights["ln_mean"]).values
    assert added == pytest.approx([0, 0.07, 0])
    ratio = (with_it.nights["rmssd_ms"] / without.nights["rmssd_ms"]).values
    np.testing.assert_allclose(ratio, np.exp(np.outer([0, 0.07, 0], [1, 1, 1])))
    for same in ("state_ms", "chance_at_baseline", "ln_sd"):
        np.testing.assert_allclose(with_it.nights[same], without.nights[same])
    every = look_ahead(lifted.now, 3, [], measures=("bath",)).shift
    np.testing.assert_allclose(every, 0.07)


def test_the_chance_of_being_at_baseline_is_that_of_the_days_to_it() -> None:
    rng = np.random.default_rng(9)
    left = np.exp(rng.normal(np.log(0.2), 0.7, 1000))
    known = KNOWN._replace(dips_left={"hill run": left}, session_sd=0.3)
    athlete = rower(known, (NIGHTS - 1, "hill run"))
    days = days_until_baseline(athlete.now, [])
    answer = forecast(athlete, nights=8)
    by_night = answer.nights["chance_at_baseline"].values
    assert by_night == pytest.approx([(days <= h).mean() for h in range(1, 9)])
    assert tuple(answer.days_to_baseline) == pytest.approx(np.quantile(days, [0.1, 0.5, 0.9]))


def test_days_to_baseline_count_from_the_last_reading() -> None:
    # A hill run two days on leaves 0.3 on the third morning: 0.30 / 0.05 is 6, so log2(6) more.
    athlete = rower(KNOWN._replace(dips_left={}))
    plan = [PlannedSession(LAST + DAY * 2, "hill run")]
    days = tuple(forecast(athlete, planned=plan).days_to_baseline)
    assert days == pytest.approx([3 + np.log2(6)] * 3)


def test_the_same_question_has_the_same_answer() -> None:
    athlete = rower(KNOWN._replace(session_sd=0.3), (NIGHTS - 1, "row"))
    first, again = (forecast(athlete, nights=3) for _ in range(2))
    assert first.nights.identical(again.nights)
    assert first.days_to_baseline == again.days_to_baseline


def test_back_is_the_first_morning_with_four_in_five_once_all_was_felt() -> None:
    # Draw d of ten is back after d days, so the chance is d / 10 after d days.
    left = np.repeat(0.0499 * 2.0 ** np.arange(1, 11), 100)
    athlete = rower(KNOWN._replace(dips_left={"hill run": left}))
    for nights, level in ((1, 0.8), (12, 0.5), (12, 0.95)):
        assert forecast(athlete, nights=nights, level=level).back_by == LAST + DAY * 8
    # A session after that throws it back again: 0.3 are under 0.05 three days after its first.
    planned = [PlannedSession(LAST + DAY * 9, "hill run")]
    assert forecast(athlete, planned=planned).back_by == LAST + DAY * 13
    assert forecast(rower(KNOWN._replace(dips_left={}))).back_by == LAST


def test_resting_is_what_a_plain_call_forecasts() -> None:
    answer = forecast(rower())
    assert answer.nights.sizes["night"] == 1
    assert answer.about.level == 0.8
    assert answer.sessions == ()


@pytest.mark.parametrize("nights", [0, -1, 61])
def test_a_forecast_reaches_1_to_60_nights(nights: int) -> None:
    with pytest.raises(QuestionError, match=f"1 to 60 nights ahead, not {nights}"):
        forecast(rower(), nights=nights)
    assert forecast(rower(), nights=60).nights.sizes["night"] == 60


def test_a_session_before_the_last_reading_cannot_be_planned() -> None:
    said = f"A session planned for {LAST - DAY} lies before the last reading .{LAST}.; log it in"
    with pytest.raises(QuestionError, match=said):
        forecast(rower(), planned=[PlannedSession(LAST - DAY, "row")])


def test_a_session_too_far_off_cannot_be_planned() -> None:
    far = PlannedSession(LAST + DAY * 59, "row", 0.5)
    assert planned_events(rower().now, [far]) == [Event(60, "row", 0.5)]
    for days in (60, 2_000_000):
        with pytest.raises(QuestionError, match="is felt more than 60 nights after the last"):
            forecast(rower(), planned=[PlannedSession(LAST + DAY * days, "row")])


def test_an_unknown_type_cannot_be_planned() -> None:
    with pytest.raises(QuestionError) as caught:
        forecast(rower(), planned=[PlannedSession(LAST, "hil run")])
    assert str(caught.value) == (
        "Unknown session type 'hil run'. This season has: 'hill run', 'row'. Did you mean "
        "'hill run'?"
    )
    nobody = by_hand.athlete_of(by_hand.season(20), Known())
    with pytest.raises(QuestionError, match=r"This season has: none\.$"):
        forecast(nobody, planned=[PlannedSession(LAST, "row")])


@pytest.mark.parametrize("dose", [0.0, -1.0, float("nan")])
def test_a_dose_that_is_none_cannot_be_planned(dose: float) -> None:
    with pytest.raises(QuestionError, match="dose of a planned session is a number above 0"):
        forecast(rower(), planned=[PlannedSession(LAST, "row", dose)])


def test_a_dose_that_nothing_has_shown_is_not_foretold() -> None:
    athlete = rower()
    day = LAST + DAY
    assert forecast(athlete, planned=[PlannedSession(day, "row", 5.0)]).sessions
    with pytest.raises(NoAnswerError) as refused:
        forecast(athlete, planned=[PlannedSession(day, "row", 60.0)])
    (reason,) = refused.value.reasons
    assert (reason.code, reason.facts["dose"], reason.facts["most"]) == (
        "a dose never shown",
        60.0,
        1.0,
    )
