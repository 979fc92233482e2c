"""What is taken in since the fit, and what is refused, with posteriors made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting import Athlete
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.fitting.state.new_mornings import PARETO_K_LIMIT
from slackwater.fitting.state.standing import Event, Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known

NIGHTS = 30
SESSIONS = [(3, "row"), (9, "row"), (15, "lift")]
TYPES = {"row": (0.2, 1.0), "lift": (0.1, 2.0)}
# No noise of its own in anything that a test does not look at.
QUIET = Known(TYPES, drift_sd=1e-9, noise_tail=1e-9, session_sd=1e-9)


def grown(
    known: Known,
    new_readings: list[float],
    new_sessions: by_hand.Dated = (),
    draws: int = 1000,
    **others: Any,
) -> Standing:
    """Fit the first `NIGHTS` readings by hand, and ask with some more of them."""
    fitted = by_hand.season(NIGHTS, SESSIONS)
    readings = [4.0] * NIGHTS + new_readings
    now = by_hand.season(
        sessions=[*SESSIONS, *new_sessions], readings=readings, nights=len(readings), **others
    )
    return Athlete(now, by_hand.posterior(fitted, known, draws)).now


def spread(law: Any, draws: int = 1000) -> np.ndarray:
    """Return draws that lie evenly in a law, so that sums over them are close to exact."""
    size = by_hand.CHAINS * draws
    return np.asarray(law.ppf((np.arange(size) + 0.5) / size))


def test_without_new_readings_the_state_is_the_stored_one() -> None:
    known = QUIET._replace(dips_left={"lift": 0.07}, level=4.2, level_variance=0.01)
    now = by_hand.athlete_of(by_hand.season(NIGHTS, SESSIONS), known).now
    assert now.night == FIRST + DAY * (NIGHTS - 1)
    assert now.groups == ["row", "lift", n.START]
    assert np.all(now.dips == [0.0, 0.07, 0.0])
    assert np.all(now.level.mean[0] == 4.2)
    assert np.all(now.level.covariance[0, 0] == 0.01)
    assert now.pending == []
    assert now.warnings == []


def test_dips_decay_on_the_new_mornings_and_new_sessions_come_on_top() -> None:
    known = QUIET._replace(dips_left={"row": 0.4, "lift": 0.08}, level=4.3)
    now = grown(known, [np.nan, np.nan, 4.0], [(NIGHTS, "row")])
    # The row is dated a day after the last fitted morning, so it is felt on the second new one
    # and has halved by the third; the old row dip has halved three times.
    assert now.night == FIRST + DAY * (NIGHTS + 2)
    assert now.dips[:, 0] == pytest.approx(0.4 / 8 + 0.2 / 2)
    assert now.dips[:, 1] == pytest.approx(0.08 * 0.5**1.5)


def test_a_new_sessions_first_night_shows_its_share() -> None:
    # The dip that decays is 0.2 / 0.5; its first night shows 0.2 of it, the second 0.2 again.
    known = QUIET._replace(first_night=0.5, level=4.0, level_variance=0.1**2, noise_sd=0.1)
    for mornings, dip in (([3.9], 0.4), ([np.nan, 3.9], 0.2)):
        now = grown(known, mornings, [(NIGHTS - 1, "row")])
        assert now.dips[:, 0] == pytest.approx(dip)
        # 3.9 with 0.2 off is a level of 4.1, which is met halfway.
        assert now.level.mean[0] == pytest.approx(4.05)


def test_a_stressors_first_night_shows_all_of_it() -> None:
    known = QUIET._replace(first_night=0.5, stressors={"cold": (0.2, 1.0)}, level_variance=0.01)
    fitted = by_hand.season(NIGHTS, SESSIONS, stressors=[(5, "cold")])
    now = by_hand.season(NIGHTS + 1, SESSIONS, stressors=[(5, "cold"), (NIGHTS - 1, "cold")])
    state = Athlete(now, by_hand.posterior(fitted, known)).now
    assert state.level.mean[0] == pytest.approx(4.0 + 0.2 / 2)


def test_a_session_of_the_last_fitted_day_is_felt_on_the_first_new_morning() -> None:
    now = grown(QUIET, [4.0, 4.0], [(NIGHTS - 1, "row")])
    assert now.dips[:, 0] == pytest.approx(0.1)


def test_a_measure_speeds_the_new_nights_up() -> None:
    known = QUIET._replace(dips_left={"row": 0.4}, rate_ratios={"bath": 3.0})
    used = [(4, "bath"), (NIGHTS, "bath")]
    fitted = by_hand.season(NIGHTS, SESSIONS, interventions=used[:1])
    now = by_hand.season(NIGHTS + 2, SESSIONS, interventions=used)
    state = Athlete(now, by_hand.posterior(fitted, known)).now
    assert state.dips[:, 0] == pytest.approx(0.4 * 0.5 ** (1 + 3))


def test_what_a_measure_adds_to_a_new_reading_is_no_baseline() -> None:
    known = QUIET._replace(level=4.0, level_variance=0.1**2, rate_ratios={"bath": 1.0})
    fitted = by_hand.season(NIGHTS, SESSIONS, interventions=[(4, "bath")])
    used = [(4, "bath"), (NIGHTS - 1, "bath")]
    now = by_hand.season(NIGHTS + 1, SESSIONS, interventions=used)  # which reads 4.0
    lifted = Athlete(now, by_hand.posterior(fitted, known._replace(lifts={"bath": 0.2}))).now
    assert lifted.level.mean[0] == pytest.approx(4.0 - 0.2 / 2)
    plain = Athlete(now, by_hand.posterior(fitted, known)).now
    assert plain.level.mean[0] == pytest.approx(4.0)


def test_a_new_reading_updates_the_level_as_a_kalman_filter_does() -> None:
    # One state for all draws: variance V = 0.1^2 and noise 0.1^2 share the surprise in halves.
    known = QUIET._replace(level=4.0, level_variance=0.1**2, noise_sd=0.1, dips_left={"row": 0.2})
    now = grown(known, [4.1])  # a dip of 0.1 is left, so the level read is 4.2
    assert now.level.mean[0] == pytest.approx(4.1)
    assert now.level.covariance[0, 0] == pytest.approx(0.1**2 / 2)
    drifting = grown(known._replace(drift_sd=0.1), [np.nan, 4.1])
    # Two nights of drift: 3 V against V, with a dip of 0.05 left.
    assert drifting.level.mean[0] == pytest.approx(4.0 + 0.75 * 0.15)
    assert drifting.level.covariance[0, 0] == pytest.approx(0.1**2 * 0.75)


def test_draws_are_weighed_by_how_well_they_foretold() -> None:
    # The level's uncertainty lies between the draws here: Normal(4, 0.1), read as 4.1 with noise
    # 0.1, is Normal(4.05, 0.1 / sqrt 2) afterwards.
    known = QUIET._replace(level=spread(stats.norm(4.0, 0.1)), noise_sd=0.1)
    now = grown(known, [4.1])
    assert now.level.mean[0].mean() == pytest.approx(4.05, abs=0.002)
    assert now.level.mean[0].std() == pytest.approx(0.1 / np.sqrt(2), abs=0.002)
    twice = grown(known, [4.1, 4.1])  # two mornings count twice
    assert twice.level.mean[0].mean() == pytest.approx(4.0 + 0.1 * 2 / 3, abs=0.002)
    assert twice.level.mean[0].std() == pytest.approx(0.1 / np.sqrt(3), abs=0.002)
    # What belongs to a draw stays with it.
    kept = now.draws[n.NOISE_SD]
    assert kept.sizes["sample"] == len(now.level.mean[0]) == len(now.dips) == len(now.rates)


def test_rates_are_learnt_from_new_mornings_draw_by_draw() -> None:
    # Slow or fast, equally likely; the reading on the next morning says which.
    half_life = np.repeat([0.5, 4.0], 1000)
    known = QUIET._replace(types={**TYPES, "row": (0.4, half_life)}, noise_sd=0.1)
    known = known._replace(dips_left={"row": 0.4})
    now = grown(known, [4.0 - 0.4 * 0.5**2])
    slow = stats.norm(4.0 - 0.4 * 0.5**0.25, 0.1).pdf(3.9)
    fast = stats.norm(4.0 - 0.4 * 0.5**2, 0.1).pdf(3.9)
    share = (now.draws[n.TYPE_LOG_RATE].sel({n.TYPE: "row"}) > 0).mean()
    assert float(share) == pytest.approx(fast / (fast + slow), abs=0.01)


def test_a_bad_night_moves_the_level_less_than_its_surprise() -> None:
    # The noise's scale is unknown: exp(tail * u) with u ~ Normal(0, 1), summed out here on a
    # fine grid.
    known = QUIET._replace(level=4.0, level_variance=0.1**2, noise_sd=0.1, noise_tail=1.5)
    now = grown(known, [4.6], draws=10_000)
    u = np.linspace(-8, 8, 4001)
    noise = 0.1**2 * np.exp(1.5 * u)
    weight = stats.norm.pdf(u) * stats.norm.pdf(0.6, 0, np.sqrt(0.1**2 + noise))
    weight /= weight.sum()
    gain = 0.1**2 / (0.1**2 + noise)
    mean = (weight * gain).sum() * 0.6
    second = (weight * ((gain * 0.6) ** 2 + 0.1**2 * (1 - gain))).sum()
    level = now.level.mean[0] - 4.0
    # Within 5 Monte Carlo errors, and 1 % for the 15 nodes that the scale is summed out on.
    error = 5 * level.std() / np.sqrt(len(level)) + 0.01 * mean
    assert level.mean() == pytest.approx(mean, abs=error)
    found_second = level**2 + now.level.covariance[0, 0]
    error = 5 * found_second.std() / np.sqrt(len(level)) + 0.01 * second
    assert found_second.mean() == pytest.approx(second, abs=error)
    assert mean < 0.6 / 2  # an ordinary night would have moved it by half


def test_another_sensor_of_the_fit_may_come_back() -> None:
    known = QUIET._replace(level=4.0, level_variance=0.1**2, sensor_steps={"strap": 0.2})
    sensors = ["strap"] * 10 + ["clip"] * (NIGHTS - 10)
    fitted = by_hand.season(NIGHTS, SESSIONS, sensors=sensors)
    now = by_hand.season(NIGHTS + 1, SESSIONS, sensors=[*sensors, "strap"])
    state = Athlete(now, by_hand.posterior(fitted, known)).now
    assert state.level.mean[0] == pytest.approx(4.0 - 0.2 / 2)  # 4.0 by the strap is 3.8


def test_the_same_season_has_the_same_state() -> None:
    known = QUIET._replace(level=spread(stats.norm(4.0, 0.1)), session_sd=0.3, noise_tail=0.5)
    states = [grown(known, [4.1, 4.0], [(NIGHTS - 1, "row")]) for _ in range(2)]
    np.testing.assert_array_equal(states[0].level.mean[0], states[1].level.mean[0])
    np.testing.assert_array_equal(states[0].dips, states[1].dips)


def test_what_is_logged_for_the_coming_nights_is_pending() -> None:
    sessions = [*SESSIONS, (NIGHTS - 2, "row"), (NIGHTS - 1, "row"), (NIGHTS + 1, "lift")]
    known = QUIET._replace(stressors={"cold": (0.1, 1.0)})
    season = by_hand.season(
        NIGHTS, sessions, stressors=[(5, "cold"), (NIGHTS - 1, "cold")], doses={NIGHTS - 1: 1.5}
    )
    now = by_hand.athlete_of(season, known).now
    assert now.pending == [Event(1, "row", 1.5), Event(3, "lift"), Event(1, "cold")]


def test_a_type_that_no_reading_shows_yet_is_warned_of_and_left_out() -> None:
    sessions = [*SESSIONS, (NIGHTS - 1, "swim"), (NIGHTS, "swim"), (NIGHTS - 1, "row")]
    now = by_hand.athlete_of(by_hand.season(NIGHTS, sessions), QUIET).now
    assert now.warnings == [Reason("left out of forecasts", label="swim")]
    assert now.pending == [Event(1, "row")]


def refusal(fitted: Any, now: Any, known: Known = QUIET) -> Reason:
    """Return why a posterior of the one season does not answer for the other."""
    athlete = Athlete(now, by_hand.posterior(fitted, known, draws=50))
    with pytest.raises(NoAnswerError) as caught:
        athlete.now  # noqa: B018
    (why,) = caught.value.reasons
    assert isinstance(why, Reason)
    return why


FITTED: dict[str, Any] = {"nights": NIGHTS, "sessions": SESSIONS}
ATTRIBUTES = {"row": {"effort": "hard"}, "lift": {"effort": "hard"}}
EDITED = "edited since the fit"
STALE = Reason(EDITED, last_night=str(FIRST + DAY * (NIGHTS - 1)))


@pytest.mark.parametrize(
    "edited",
    [
        {"sessions": SESSIONS[1:]},
        {"sessions": [*SESSIONS, (20, "row")]},
        {"sessions": [*SESSIONS[:-1], (16, "lift")]},
        {"doses": {3: 1.5}},
        {"readings": [4.0] * 29 + [4.01]},
        {"readings": [4.0, np.nan] + [4.0] * 28},
        {"interventions": [(4, "bath")]},
        {"stressors": [(4, "cold")]},
        {"sensors": ["strap"] * 10 + ["sensor"] * 20},
        {"attributes": {"row": {"effort": "easy"}, "lift": {"effort": "hard"}}},
        {"nights": NIGHTS - 1},
    ],
    ids=lambda edited: next(iter(edited)),
)
def test_an_edited_past_is_refused(edited: dict[str, Any]) -> None:
    fitted = {**FITTED, "attributes": ATTRIBUTES}
    assert refusal(by_hand.season(**fitted), by_hand.season(**{**fitted, **edited})) == STALE


def test_an_edited_past_is_refused_with_a_new_morning_too() -> None:
    now = by_hand.season(NIGHTS + 1, SESSIONS[1:])
    assert refusal(by_hand.season(**FITTED), now) == STALE


def test_another_athletes_posterior_is_refused() -> None:
    earlier = by_hand.season(NIGHTS, SESSIONS)
    tables = earlier.tables()
    for table in tables.values():
        if "date" in table:
            table["date"] = table["date"] + 400 * DAY
    later = type(earlier).from_tables("later", **tables)
    assert refusal(later, earlier) == Reason(EDITED, last_night=str(later.last_night))
    assert refusal(earlier, later) == Reason(EDITED, last_night=str(earlier.last_night))


def test_the_seasons_name_and_order_of_rows_may_change() -> None:
    fitted = by_hand.season(NIGHTS, SESSIONS)
    renamed = by_hand.season(NIGHTS, SESSIONS[::-1], name="other")
    assert Athlete(renamed, by_hand.posterior(fitted, QUIET)).now.season.name == "other"


def test_types_never_trained_may_be_described_ahead() -> None:
    fitted = by_hand.season(NIGHTS, SESSIONS, attributes=ATTRIBUTES)
    described = by_hand.season(
        NIGHTS, SESSIONS, attributes={**ATTRIBUTES, "swim": {"effort": "easy"}}
    )
    assert Athlete(described, by_hand.posterior(fitted, QUIET)).now.warnings == []


@pytest.mark.parametrize(
    ("new", "named"),
    [
        ({"sessions": [*SESSIONS, (NIGHTS, "swim")]}, ["swim"]),
        ({"stressors": [(NIGHTS, "cold")]}, ["cold"]),
        ({"interventions": [(NIGHTS, "bath")]}, ["bath"]),
        ({"sensors": ["sensor"] * (NIGHTS + 1) + ["strap"]}, ["strap"]),
        (
            {
                "sessions": [*SESSIONS, (NIGHTS, "swim")],
                "interventions": [(NIGHTS, "bath"), (NIGHTS, "nap")],
            },
            ["swim", "bath", "nap"],
        ),
    ],
)
def test_what_new_mornings_show_for_the_first_time_needs_a_fit(
    new: dict[str, Any], named: list[str]
) -> None:
    now = by_hand.season(**{**FITTED, "nights": NIGHTS + 2, **new})
    assert refusal(by_hand.season(**FITTED), now) == Reason("new since the fit", labels=named)


def test_readings_that_tell_another_story_need_a_fit() -> None:
    known = QUIET._replace(level=spread(stats.norm(4.0, 0.3), 50), noise_sd=0.05)
    fitted = by_hand.season(**FITTED)
    now = by_hand.season(readings=[4.0] * 30 + [5.5] * 3, sessions=SESSIONS)
    why = refusal(fitted, now, known)
    assert why.code == "another story since the fit"
    assert why.facts["pareto_k"] > PARETO_K_LIMIT


def test_readings_wildly_off_need_a_fit_too() -> None:
    # So far off that all weights but one vanish in floating point.
    rng = np.random.default_rng(3)
    known = QUIET._replace(level=rng.normal(4.0, 0.1, 2000), noise_sd=0.01)
    with pytest.raises(NoAnswerError, match="another story"):
        grown(known, [9.0] * 5)


@pytest.mark.parametrize(
    "checks",
    [
        FitChecks(0, 4000, 1.06, 2000.0, 2000.0),
        FitChecks(0, 4000, float("nan"), 2000.0, 2000.0),
        FitChecks(0, 4000, 1.0, 99.0, 2000.0),
        FitChecks(41, 4000, 1.0, 2000.0, 2000.0),
    ],
)
def test_nothing_is_answered_from_a_bad_fit(checks: FitChecks) -> None:
    season = by_hand.season(**FITTED)
    athlete = Athlete(season, by_hand.posterior(season, QUIET, checks=checks))
    with pytest.raises(NoAnswerError) as caught:
        athlete.now  # noqa: B018
    [complaint] = checks.complaints
    assert caught.value.reasons == (complaint, Reason("unusable fit"))


def test_a_doubtful_fit_answers_with_its_complaints() -> None:
    checks = FitChecks(3, 4000, 1.02, 300.0, 2000.0)
    season = by_hand.season(**FITTED)
    now = Athlete(season, by_hand.posterior(season, QUIET, checks=checks)).now
    assert len(checks.complaints) == 3
    assert now.warnings == checks.complaints
