"""What a reading is made of: by hand, and on the demo season."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from slackwater.fitting import Athlete, Posterior, explain
from slackwater.fitting.answers.explain import Explanation, Share, logarithmic_mean, shares_of
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_athlete, whole_posterior
from tests.fitting.conftest import Fitted

KNOWN = Known({"row": (0.3, 2.0), "lift": (0.2, 3.0)}, noise_sd=0.1, drift_sd=1e-6)


def asked(season: Season, day: int | None, known: Known = KNOWN, **more: Any) -> Explanation:
    night = None if day is None else FIRST + DAY * day
    return explain(whole_athlete(season, known, **more), night)


def shares(answer: Explanation) -> dict[tuple[str, str], float]:
    """Return the middle of each part's share, ln, by label and date."""
    return {(p.label, str(p.date or "")): p.share_ln.median for p in answer.parts}


def kinds(answer: Explanation) -> dict[str, str]:
    return {part.label: part.kind for part in answer.parts}


def total(shares: list[Share]) -> Any:
    return np.sum([share.draws for share in shares], axis=0)


# By hand.


def test_what_is_left_of_each_session_and_stressor() -> None:
    """Half-lives of 2, 3 and 1 days; nights are counted from the one after the session."""
    season = by_hand.season(
        30, [(20, "row"), (22, "lift")], doses={22: 2.0}, stressors=[(23, "cold")]
    )
    known = KNOWN._replace(stressors={"cold": (0.1, 1.0)})
    found = shares(asked(season, 25, known, session_z=[1.0, 0.0]))
    assert found["row", "2031-03-21"] == pytest.approx(-0.3 * np.exp(0.2) * 0.5 ** (4 / 2))
    assert found["lift", "2031-03-23"] == pytest.approx(-2 * 0.2 * 0.5 ** (2 / 3))
    assert found["cold", "2031-03-24"] == pytest.approx(-0.1 * 0.5**1)


def test_a_first_night_shows_its_share_of_the_dip() -> None:
    season = by_hand.season(30, [(20, "row")])
    known = KNOWN._replace(first_night=0.6)  # which shows 0.3, so that the dip is 0.5
    assert shares(asked(season, 21, known))["row", "2031-03-21"] == pytest.approx(-0.3)
    later = shares(asked(season, 22, known))["row", "2031-03-21"]
    assert later == pytest.approx(-0.5 * 0.5**0.5)


def test_a_measure_speeds_what_is_left() -> None:
    season = by_hand.season(30, [(20, "row")], interventions=[(21, "bath"), (22, "bath")])
    answer = asked(season, 24, KNOWN._replace(rate_ratios={"bath": 2.0}))
    # The nights dated 22 and 23 bring two nights' recovery each, that of 24 one.
    assert shares(answer)["row", "2031-03-21"] == pytest.approx(-0.3 * 0.5 ** (5 / 2))


def test_what_a_measure_adds_by_itself_is_a_part() -> None:
    season = by_hand.season(30, [(20, "row")], interventions=[(21, "bath"), (23, "bath")])
    known = KNOWN._replace(rate_ratios={"bath": 1.0}, lifts={"bath": 0.05})
    answer = asked(season, 22, known)
    assert shares(answer)["bath", "2031-03-22"] == pytest.approx(0.05)
    assert kinds(answer)["bath"] == "intervention"
    without = asked(season, 22, known._replace(lifts={}))
    moved = shares(answer)["noise", ""] - shares(without)["noise", ""]
    assert moved == pytest.approx(-0.05, abs=5e-3)  # baseline follows a little
    assert "bath" not in kinds(asked(season, 23, known))


def test_sensor_and_start_are_parts() -> None:
    season = by_hand.season(30, sensors=["clip"] * 15 + ["strap"] * 15)
    known = KNOWN._replace(sensor_steps={"clip": 0.08})
    answer = asked(season, 3, known, start_dip=0.4)
    found = shares(answer)
    assert found["clip", ""] == pytest.approx(0.08)
    assert found["unlogged start", ""] == pytest.approx(-0.4 * np.exp(-3 * np.exp(-1.0)))
    assert kinds(answer) == {
        "unlogged start": "start",
        "clip": "sensor",
        "unexplained": "unexplained",
        "noise": "noise",
    }
    assert "sensor" not in kinds(asked(season, 20, known)).values()


def test_what_is_under_one_percent_is_summed() -> None:
    sessions = [(2, "row"), (5, "row"), (8, "lift"), (20, "row")]
    season = by_hand.season(30, sessions, stressors=[(4, "cold")])
    answer = asked(season, 22, KNOWN._replace(stressors={"cold": (0.1, 1.0)}))
    found = shares(answer)
    first, second, lift = 0.3 * 0.5 ** (19 / 2), 0.3 * 0.5 ** (16 / 2), 0.2 * 0.5 ** (13 / 3)
    assert lift < 0.01
    assert found["older sessions", ""] == pytest.approx(-(first + second + lift))
    assert found["older stressors", ""] == pytest.approx(-0.1 * 0.5**17)
    assert set(found) - {("unlogged start", ""), ("unexplained", ""), ("noise", "")} == {
        ("older sessions", ""),
        ("older stressors", ""),
        ("row", "2031-03-21"),
    }


def test_parts_are_in_order_of_size_and_the_noise_is_last() -> None:
    answer = asked(by_hand.season(30, [(20, "row"), (22, "lift"), (23, "row")]), 25)
    middle = [abs(part.share_ln.median) for part in answer.parts]
    assert (np.diff(middle[:-1]) <= 0).all()
    assert answer.parts[-1].kind == "noise"


def test_noise_is_what_is_left_over_and_how_often_it_comes() -> None:
    """Against the heavy-tailed noise integrated with scipy."""
    readings = np.full(400, 4.0)
    readings[200] += 0.25
    known = KNOWN._replace(types={}, noise_sd=0.1, noise_tail=0.5, drift_sd=1e-9)
    answer = asked(by_hand.season(readings=readings), 200, known)
    noise = shares(answer)["noise", ""]
    assert noise == pytest.approx(0.25, abs=0.01)  # 399 others hold baseline at 4 within 0.005

    def beyond(scale: float) -> float:
        sd = 0.1 * np.exp(0.5 * scale / 2)
        return float(2 * stats.norm.sf(noise / sd) * stats.norm.pdf(scale))

    expected, _ = integrate.quad(beyond, -8, 8)
    # The noise differs between draws by baseline's 0.005; the chance by 10 % or so of itself.
    assert answer.noise_chance == pytest.approx(expected, rel=0.05)


def test_a_night_without_a_reading_has_no_noise() -> None:
    readings = np.full(30, 4.0)
    readings[22] = np.nan
    answer = asked(by_hand.season(sessions=[(20, "row")], readings=readings), 22)
    assert not answer.read
    assert "noise" not in kinds(answer).values()
    assert np.isnan(answer.reading_rmssd_ms)
    assert np.isnan(answer.noise_chance)
    gap = answer.expected_rmssd_ms.median - answer.baseline_rmssd_ms.median
    assert sum(part.share_ms.median for part in answer.parts) == pytest.approx(gap, abs=0.5)


def test_logarithmic_mean_lies_between_and_makes_shares_add_up() -> None:
    a, b = np.array([60.0, 60.0, 60.0, 80.0]), np.array([60.0, 60.0 + 1e-9, 30.0, 90.0])
    mean = logarithmic_mean(a, b)
    assert mean[:2] == pytest.approx([60.0, 60.0])
    assert mean[2] == pytest.approx(30 / np.log(2))
    assert mean * np.log(b / a) == pytest.approx(b - a, rel=1e-5, abs=1e-12)
    near = logarithmic_mean(np.array([60.0]), 60.0 * np.exp(np.array([2e-6])))
    assert near == pytest.approx(60.0 * (1 + 1e-6), rel=1e-9)


@pytest.mark.parametrize("day", [-3, 30, 400])
def test_a_night_outside_the_readings_is_refused(day: int) -> None:
    with pytest.raises(QuestionError, match="give a night from 2031-03-01 to 2031-03-30"):
        asked(by_hand.season(30), day)


def test_a_past_that_was_edited_is_refused() -> None:
    posterior = whole_posterior(by_hand.season(30), KNOWN._replace(types={}))
    edited = by_hand.season(30, readings=[4.2] * 30)
    with pytest.raises(NoAnswerError, match="edited since the fit"):
        explain(Athlete(edited, posterior))


# All parts add up.

NIGHTS = [0, 3, 15, 75, 76, 77, 111, 112, 178, 181]


@pytest.mark.parametrize("night", NIGHTS)
def test_parts_add_up_to_the_reading_in_every_draw(demo_athlete: Athlete, night: int) -> None:
    past = demo_athlete.past
    shares = shares_of(past, night)
    made = past.level[:, night] + total(shares)
    reading = past.readings[night]
    levels = past.level + past.transient + past.unexplained
    expected = (levels - past.shown + past.shift)[:, night]
    read = np.isfinite(reading)
    assert (shares[-1].kind == "noise") == read
    assert made == pytest.approx(np.full(len(made), reading) if read else expected, abs=1e-9)
    without_noise = made - shares[-1].draws if read else made
    assert without_noise == pytest.approx(expected, abs=1e-9)


def test_last_night_is_as_the_state_has_it(demo_athlete: Athlete) -> None:
    past = demo_athlete.past
    dips = past.shown_on(len(past.season.nights) - 1)
    for kind, mine in (("session", slice(0, 5)), ("stressor", slice(5, 6)), ("start", slice(6, 7))):
        which = [i for i, event in enumerate(past.events) if event.kind == kind]
        expected = demo_athlete.now.dips[:, mine].sum(axis=1)
        assert dips[:, which].sum(axis=1) == pytest.approx(expected, rel=1e-6, abs=1e-12)


# Readings since the fit.


def three_more(season: Season) -> Season:
    """The season with three more mornings, one of them not read, a session and a stressor."""
    tables = season.tables()
    last = season.last_night
    new = {
        "readings": {"date": [last + DAY, last + 3 * DAY], "log_rmssd": np.log([58.0, 64.0])},
        "sessions": {"date": [last], "type": ["hill run"], "dose": [0.5]},
        "stressors": {"date": [last + DAY], "stressor": ["head cold"]},
    }
    new["readings"]["sensor"] = ["chest strap", "finger clip"]
    for name, rows in new.items():
        tables[name] = pd.concat([tables[name], pd.DataFrame(rows)], ignore_index=True)
    return Season.from_tables(season.name, **tables)


def test_mornings_since_the_fit_are_explained_too(demo: Fitted) -> None:
    athlete = Athlete(three_more(demo.season), demo.posterior)
    past = athlete.past
    for night in (100, 181, 182, 183, 184):
        parts = shares_of(past, night)
        reading = past.readings[night]
        assert (parts[-1].kind == "noise") == np.isfinite(reading)
        if np.isfinite(reading):
            made = past.level[:, night] + total(parts)
            assert made == pytest.approx(np.full(len(made), reading), abs=1e-9)
    answer = explain(athlete)
    found = shares(answer)
    assert answer.night == np.datetime64("2031-07-09")
    new = {("hill run", "2031-07-06"), ("head cold", "2031-07-07"), ("finger clip", "")}
    assert new <= set(found)
    assert found["hill run", "2031-07-06"] < -0.01


def test_the_past_ends_where_the_state_is_after_new_mornings(demo: Fitted) -> None:
    athlete = Athlete(three_more(demo.season), demo.posterior)
    now, past = athlete.now, athlete.past
    left = past.shown_on(len(past.season.nights) - 1)
    for column, group in enumerate(now.groups):
        mine = left[:, [event.label == group for event in past.events]]
        assert mine.sum(axis=1) == pytest.approx(now.dips[:, column], rel=1e-6, abs=1e-12)
    for ended, stands in zip(past.filtered.last, now.level, strict=True):
        np.testing.assert_allclose(ended, stands, rtol=1e-9, atol=1e-9)


def test_a_stressor_since_a_fit_without_sessions_is_explained() -> None:
    fitted = by_hand.season(30, stressors=[(20, "cold")])
    known = KNOWN._replace(types={}, stressors={"cold": (0.1, 1.0)})
    posterior = whole_posterior(fitted, known)
    later = by_hand.season(33, stressors=[(20, "cold"), (30, "cold")])
    found = shares(explain(Athlete(later, posterior)))
    assert found["cold", "2031-03-31"] == pytest.approx(-0.05, rel=0.2)  # a scatter of 0.2


def test_a_stored_posterior_explains_like_the_one_just_fitted(
    demo: Fitted, demo_athlete: Athlete
) -> None:
    again = explain(Athlete(demo.season, Posterior.load(demo.folder)))
    for fresh, stored in zip(explain(demo_athlete).parts, again.parts, strict=True):
        assert stored.share_ln == pytest.approx(fresh.share_ln, abs=1e-6)


# What comes to anything, and what weighs.


def dipped(days: int = 33) -> Season:
    """Return a season whose readings fell by the 0.3 of a row, and came back as it does."""
    readings = np.full(days, 4.0)
    for day, dip in ((29, 0.3), (30, 0.3 * 0.5**0.5), (31, 0.15), (32, 0.3 * 0.5**1.5)):
        readings[day] -= dip
    return by_hand.season(sessions=[(28, "row")], readings=readings)


def test_what_may_as_well_raise_a_reading_does_not_weigh(demo_athlete: Athlete) -> None:
    """A measure's own share on the demo's last night lies on either side of nothing."""
    parts = explain(demo_athlete).parts
    unclear = [part for part in parts if part.share_ln.low < 0 < part.share_ln.high]
    assert {part.kind for part in unclear} >= {"intervention", "noise"}
    assert not any(part.weighs for part in unclear)


def test_what_weighs_most_is_most_of_the_gap() -> None:
    answer = asked(dipped(), 29, KNOWN._replace(noise_sd=0.01))
    assert [part.label for part in answer.parts if part.weighs] == ["row"]
    assert answer.parts[0].date == FIRST + DAY * 28
    assert answer.most_of_it


def test_where_the_noise_is_as_large_nothing_is_most_of_it() -> None:
    readings = np.full(30, 4.0)
    readings[29] -= 0.1  # where a dip of 0.3 is expected: noise undoes two thirds
    answer = asked(by_hand.season(sessions=[(28, "row")], readings=readings), 29)
    assert answer.parts[0].weighs
    assert not answer.most_of_it


def test_a_part_that_stays_within_one_percent_does_not_count() -> None:
    answer = asked(by_hand.season(30, [(10, "row"), (28, "row")]), 29)
    counts = {(part.label, part.counts, part.weighs) for part in answer.parts}
    assert counts == {
        ("row", True, True),
        ("older sessions", False, False),
        ("unlogged start", False, False),
        ("unexplained", False, False),
        ("noise", True, False),  # whatever its size
    }
    nothing = asked(by_hand.season(30, [(10, "row")]), 29)
    assert not nothing.most_of_it
