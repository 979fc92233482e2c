"""Plans, against a state made by hand, whose days can be worked out on paper."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, plan_spacing, recovery
from slackwater.fitting.answers.forecast import PlannedSession, planned_events
from slackwater.fitting.records.plans import Session
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.spacing.alternatives import (
    AnotherDay,
    FewerSessions,
    MoreDays,
    NoRestDay,
)
from slackwater.fitting.spacing.plan import SpacingPlan, plan_to_keep
from slackwater.fitting.spacing.session import Dated
from slackwater.fitting.spacing.wish import Date
from slackwater.fitting.state.ahead import dips_ahead
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known

NIGHTS = 30
LAST = FIRST + DAY * (NIGHTS - 1)  # 2031-03-30, a Sunday
LOGGED = [(3, "hill run"), (9, "row"), (15, "hill run"), (20, "row")]
# The threshold is 0.05. A hill run is back on day 1 + log2(0.17 / 0.05) = 2.77, so 3; a row on
# day 1 + log2(0.07 / 0.05) = 1.49, so 2. Such gaps do even when their remainders add up.
SURE = Known(
    {"hill run": (0.17, 1.0), "row": (0.07, 1.0)}, noise_sd=0.1, session_sd=1e-12, level=4.1
)


def athlete(
    known: Known = SURE, *sessions: tuple[int, str], draws: int = 300, **log: Any
) -> Athlete:
    return by_hand.athlete_of(by_hand.season(NIGHTS, [*LOGGED, *sessions], **log), known, draws)


def planned(answer: SpacingPlan) -> list[tuple[int, str]]:
    """Return the planned sessions by days after the last reading's morning."""
    return placed(answer.sessions)


def placed(sessions: tuple[Session, ...]) -> list[tuple[int, str]]:
    return [(int((np.datetime64(s.date) - LAST) / DAY), s.type) for s in sessions]


def chances(answer: SpacingPlan) -> list[float]:
    """Return the chance to be recovered on each morning."""
    return [day.chance_recovered for day in answer.calendar]


def left(answer: SpacingPlan, bound: str = "median") -> list[float]:
    """Return a bound of the dips left on each morning."""
    return [getattr(day.dip_left_ln, bound) for day in answer.calendar]


def test_the_clock() -> None:
    """A session begins recovered as of the reading on the morning of its own date."""
    answer = plan_spacing(athlete(), {"hill run": 2})
    assert planned(answer) == [(0, "hill run"), (3, "hill run")]
    assert chances(answer) == [1, 0, 0, 1, 0, 0, 1]
    dips = left(answer)
    assert dips[:4] == pytest.approx([0, 0.17, 0.085, 0.0425])
    # On day 3 the first run has 0.0425 left; the second adds 0.17 from day 4 on.
    assert dips[4:] == pytest.approx([0.0425 / 2 + 0.17, 0.0425 / 4 + 0.085, 0.0425 / 8 + 0.0425])


def test_dips_stack() -> None:
    """Of a third run, 3 days after a second, 0.0425 + 0.0425 / 8 = 0.0478 is left of two."""
    three = {"hill run": 3}
    assert planned(plan_spacing(athlete(), three, days=8))[-1] == (6, "hill run")
    tight = SURE._replace(noise_sd=2 * 0.045)
    assert planned(plan_spacing(athlete(tight), three, days=8))[-1] == (7, "hill run")


def test_chances_are_those_of_a_forecast_of_the_same_sessions() -> None:
    """With dips left, logged sessions, a stressor and a measure to come, night by night."""
    spread = np.linspace(0.6, 1.6, 600)
    known = Known(
        {"hill run": (0.17 * spread, 1.0), "row": (0.07, 1.5 * spread)},
        stressors={"head cold": (0.1, 2.0)},
        dips_left={"hill run": 0.1, "head cold": 0.05 * spread, "unlogged start": 0.02},
        rate_ratios={"river dip": 1 + spread / 3},
        noise_sd=0.1 * spread,
        session_sd=1e-12,
    )
    measured = [(day, "river dip") for day in (5, 6, 7, 33, 34, 38)]
    here = athlete(
        known,
        (31, "row"),
        interventions=measured,
        stressors=[(10, "head cold"), (30, "head cold")],
    )
    answer = plan_spacing(here, {"hill run": 2, "row": 1}, days=18, chance=0.6)
    planned = [PlannedSession(np.datetime64(s.date), s.type) for s in answer.sessions]
    events = planned_events(here.now, planned)
    assert len(events) == 3
    now = here.now
    dip, *_ = dips_ahead(now, 17, events)
    under = (dip <= now.threshold[:, None]).mean(axis=0)
    assert chances(answer)[1:] == pytest.approx(under, abs=1e-12)
    low, high = np.quantile(dip, [0.1, 0.9], axis=0)
    assert left(answer, "low")[1:] == pytest.approx(low)
    assert left(answer, "high")[1:] == pytest.approx(high)


def test_a_session_waits_as_long_as_recovery_says_of_the_next_session() -> None:
    """From a clean start the second session comes on `days_for_chance` of the first."""
    spread = np.exp(0.3 * np.random.default_rng(1).standard_normal(4000))
    known = SURE._replace(types={"hill run": (0.25, 1.3 * spread), "row": (0.05, 1.0)})
    here = athlete(known._replace(session_sd=0.25), draws=2000)
    types = recovery(here).types
    days = types["days_for_chance"].sel(type="hill run", chance=0.8)
    answer = plan_spacing(here, {"hill run": 2}, days=14)
    assert planned(answer)[-1] == (int(days), "hill run")
    promised = answer.sessions[-1].chance
    by_day = types["chance_by_day"].sel(type="hill run", day=int(days))
    # Two sets of 2,000 draws of the scatter: 4 SE of their difference.
    assert promised == pytest.approx(float(by_day), abs=4 * math.sqrt(0.16 / 2000 * 2))


def test_a_dip_held_back_on_the_first_night_counts_in_full() -> None:
    held = plan_spacing(athlete(SURE._replace(first_night=0.5)), {"hill run": 2})
    # Twice the dip that the first night shows: one half-life more.
    assert planned(held) == [(0, "hill run"), (4, "hill run")]


def test_the_same_question_gets_the_same_answer() -> None:
    known = SURE._replace(session_sd=0.3)
    first, second = (
        plan_spacing(athlete(known), {"hill run": 2, "row": 1}, days=14) for _ in range(2)
    )
    assert first == second


def test_logged_sessions_take_their_day_and_count_in_the_dips() -> None:
    answer = plan_spacing(athlete(SURE, (NIGHTS - 1, "hill run")), {"row": 1})
    assert [day.session for day in answer.calendar[:4]] == ["hill run", None, None, "row"]
    assert [day.kind for day in answer.calendar[:4]] == ["logged", "rest", "rest", "planned"]
    assert answer.logged == (Dated(dt.date(2031, 3, 30), "hill run"),)
    assert answer.open_days == 6


def test_fixed_days_rest_days_and_chances_of_their_own() -> None:
    here = athlete()
    fixed = plan_spacing(here, {"hill run": 2, "row": 1}, days=9, fixed={"2031-04-04": "hill run"})
    assert planned(fixed) == [(0, "hill run"), (3, "row"), (5, "hill run")]
    assert [fixed.calendar[day].kind for day in (0, 5)] == ["planned", "fixed"]
    # Monday to Wednesday off (days 1 to 3), and day 4 by its date.
    rested = plan_spacing(here, {"row": 2}, rest=["Mon", "tuesday", "WED", "2031-04-03"])
    assert planned(rested) == [(0, "row"), (5, "row")]
    spread = np.repeat([1.0, 1.5, 2.0, 3.0], 150)  # a row is back on day 2, of the last on 3
    doubtful = athlete(SURE._replace(types={"hill run": (0.17, spread), "row": (0.07, spread)}))
    kept = [
        planned(plan_spacing(doubtful, {"row": 1, "hill run": 1}, chance=0.7, chance_for=own))
        for own in ({}, {"hill run": 0.9})
    ]
    assert kept == [[(0, "row"), (2, "hill run")], [(0, "row"), (3, "hill run")]]


def test_a_plan_can_begin_later() -> None:
    tired = SURE._replace(dips_left={"hill run": 0.39})  # under the threshold on day 3
    assert planned(plan_spacing(athlete(tired), {"row": 1}, start=dt.date(2031, 4, 1))) == [
        (3, "row")
    ]
    assert planned(plan_spacing(athlete(tired), {"row": 1}, start="2031-04-05")) == [(6, "row")]


def test_draws_beyond_what_is_looked_at_are_thinned_evenly() -> None:
    spread = np.linspace(0.8, 1.6, 6000)
    many = athlete(
        SURE._replace(types={"hill run": (0.17, spread), "row": (0.07, 1.0)}), draws=3000
    )
    answer = plan_spacing(many, {"hill run": 2})
    exact = float((1 + np.log2(0.17 / 0.05) * spread <= 3).mean())
    assert chances(answer)[3] == pytest.approx(exact, abs=0.001)


def test_what_gives_where_a_week_is_too_short() -> None:
    """Hill runs need 3 days, rows 2: three runs and a row take 9 days at least."""
    answer = plan_spacing(athlete(), {"hill run": 3, "row": 1}, days=7)
    assert not answer.fits
    assert (answer.calendar, answer.sessions) == ((), ())
    more, *fewer = answer.alternatives
    assert (type(more), more.kind, more.days) == (MoreDays, "more days", 9)
    assert answer.more_days_help
    # Equally even wherever the row stands, but at the end; the type asked first goes first.
    runs = [(day, "hill run") for day in (0, 3, 8)]
    assert placed(more.sessions) == sorted([*runs, (6, "row")])
    assert [(way.kind, way.left_out) for way in fewer if isinstance(way, FewerSessions)] == [
        ("fewer sessions", {"row": 1}),
        ("fewer sessions", {"hill run": 1}),
    ]
    assert placed(fewer[0].sessions) == [(0, "hill run"), (3, "hill run"), (6, "hill run")]
    assert answer.not_worked_out == ()
    # All four in 7 days leave at least one morning on which nobody is back.
    closest = answer.closest or ()
    assert len(closest) == 4
    assert answer.hardest in closest
    assert answer.hardest.chance == min(s.chance for s in closest) == 0


def test_what_gives_where_a_fixed_day_is_in_the_way() -> None:
    tired = SURE._replace(dips_left={"hill run": 0.39})
    fixed: dict[Date, str] = {"2031-04-01": "hill run"}  # day 2, where 0.0975 is left
    answer = plan_spacing(athlete(tired), {"hill run": 1, "row": 1}, fixed=fixed)
    assert [(s.date, s.chance) for s in answer.fixed_short] == [(dt.date(2031, 4, 1), 0)]
    assert answer.more_days_help is False
    (way,) = answer.alternatives
    assert isinstance(way, AnotherDay)
    assert way.instead_of == (Dated(dt.date(2031, 4, 1), "hill run"),)
    assert placed(way.sessions) == [(3, "row"), (5, "hill run")]


def test_what_gives_where_more_days_and_another_day_are_both_needed() -> None:
    tired = SURE._replace(dips_left={"hill run": 0.39})
    fixed: dict[Date, str] = {"2031-03-31": "hill run", "2031-04-01": "row"}
    (way,) = plan_spacing(
        athlete(tired), {"hill run": 2, "row": 1}, fixed=fixed, days=4
    ).alternatives
    assert isinstance(way, AnotherDay)
    assert (way.days, len(way.instead_of)) == (9, 2)


def test_what_gives_where_a_rest_day_is_in_the_way() -> None:
    way = plan_spacing(athlete(), {"hill run": 3}, rest=["Saturday"]).alternatives[-1]
    assert isinstance(way, NoRestDay)
    assert way.on == "Saturday"
    assert placed(way.sessions)[-1] == (6, "hill run")


def test_every_way_out_meets_its_chances_and_is_the_answer_to_its_own_question() -> None:
    known = SURE._replace(session_sd=0.3, dips_left={"hill run": 0.1})
    here = athlete(known)
    answer = plan_spacing(here, {"hill run": 2, "row": 2}, chance=0.7)
    assert {way.kind for way in answer.alternatives} == {"more days", "fewer sessions"}
    for way in answer.alternatives:
        assert all(s.chance >= s.asked for s in way.sessions)
        wanted = {"hill run": 2, "row": 2}
        for label, count in way.left_out.items() if isinstance(way, FewerSessions) else ():
            wanted[label] -= count
        wanted = {label: count for label, count in wanted.items() if count}
        again = plan_spacing(here, wanted, days=max(7, way.days), chance=0.7)
        assert again.sessions == way.sessions
        if isinstance(way, MoreDays):
            assert not plan_spacing(here, wanted, days=way.days - 1, chance=0.7).fits


def test_too_many_plans_are_said_and_not_gone_through(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("slackwater.fitting.spacing.plan.WORK", 1.0)
    with pytest.raises(NoAnswerError) as error:
        plan_spacing(athlete(), {"hill run": 1})
    assert error.value.reasons == (Reason("too many plans", sessions=1, days=7),)
    monkeypatch.setattr("slackwater.fitting.spacing.plan.WORK", 3e5)
    answer = plan_spacing(
        athlete(SURE._replace(session_sd=0.3)), {"hill run": 3, "row": 3}, days=28
    )
    assert answer.fits
    assert Reason("perhaps a better plan") in answer.about.warnings


def test_a_thin_type_is_said_and_confounded_types_are_refused() -> None:
    thin = Reason("trained a few times", type="row", sessions=2)
    assert plan_spacing(athlete(), {"row": 1}).about.warnings == (thin,)
    both = by_hand.season(NIGHTS, [(3, "row"), (3, "hill run"), (9, "row"), (9, "hill run")])
    with pytest.raises(NoAnswerError) as error:
        plan_spacing(by_hand.athlete_of(both, SURE), {"row": 1})
    assert error.value.reasons == (Reason("always the same days", types=["hill run", "row"]),)


def test_without_session_types_there_is_nothing_to_plan_with() -> None:
    with pytest.raises(NoAnswerError) as error:
        plan_spacing(by_hand.athlete_of(by_hand.season(NIGHTS), Known()), {"row": 1})
    assert error.value.reasons == (Reason("nothing to plan with"),)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"wanted": {"hill": 1}}, "Unknown session type 'hill'.*Did you mean 'hill run'"),
        ({"wanted": {"row": 0}}, "0 sessions of 'row' are wanted"),
        ({"wanted": {}}, "No session is wanted"),
        ({"wanted": {"row": 29}, "days": 40}, "29 sessions are wanted; at most 28"),
        ({"days": 0}, "1 day or more, not 0"),
        ({"days": 61}, "61 days from 2031-03-30 would reach 60 days or more after the last"),
        ({"days": 10**12}, "would reach 60 days or more"),
        ({"start": "2031-05-29"}, "would reach 60 days or more"),
        ({"start": "2031-03-29"}, "would begin before the last reading"),
        ({"start": "20310401"}, "is no date"),
        ({"chance": 1.0}, "The chance 1 is not above 0 and at most 0.99"),
        ({"chance": 0.0}, "The chance 0 is not"),
        ({"chance": float("nan")}, "The chance nan is not"),
        ({"chance_for": {"hill run": 0.9}}, "of which no session is wanted"),
        ({"chance_for": {"swim": 0.9}}, "Unknown session type 'swim'"),
        ({"fixed": {"2031-05-01": "row"}}, "lies outside the plan"),
        ({"fixed": {"2031-04-01": "row"}, "rest": ["tue"]}, r"\(Tuesday\) is fixed for 'row'"),
        (
            {"fixed": {"2031-04-01": "row", "2031-04-03": "row"}},
            "2 days are fixed for 'row', but only 1",
        ),
        ({"fixed": {"2031-04-31": "row"}}, "is no date"),
        ({"rest": ["Funday"]}, "neither a date"),
        ({"level": 1.5}, "no share between 0 and 1"),
    ],
)
def test_questions_that_make_no_sense(asked: dict[str, Any], said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        plan_spacing(athlete(), **{"wanted": {"row": 1}, **asked})


def test_a_day_with_a_logged_session_cannot_be_fixed() -> None:
    with pytest.raises(QuestionError, match="'hill run' is already logged on it"):
        plan_spacing(athlete(SURE, (31, "hill run")), {"row": 1}, fixed={"2031-04-01": "row"})


def test_too_many_kinds_of_remainder_are_refused() -> None:
    names = [f"type {i}" for i in range(10)]
    known = Known(dict.fromkeys(names, (0.01, 1.0)), session_sd=1e-12)
    season = by_hand.season(NIGHTS, [(2 * i, name) for i, name in enumerate(names)])
    here = by_hand.athlete_of(season, known)
    with pytest.raises(QuestionError, match="too many plans to go through"):
        plan_spacing(here, dict.fromkeys(names, 2), days=30)


def test_the_json_object_holds_the_same() -> None:
    found = as_object(plan_spacing(athlete(), {"hill run": 2}))
    assert found["fits"] is True
    week = ["hill run", None, None, "hill run", None, None, None]
    assert [row["session"] for row in found["calendar"]] == week
    assert found["calendar"][3] == {
        "date": "2031-04-02",
        "session": "hill run",
        "kind": "planned",
        "chance_recovered": 1.0,
        "chance_asked": 0.8,
        "dip_left_ln": pytest.approx({"median": 0.0425, "low": 0.0425, "high": 0.0425}),
    }
    assert found["sessions"][1]["date"] == "2031-04-02"
    short = as_object(plan_spacing(athlete(), {"hill run": 3}, days=5))
    assert (short["fits"], short["calendar"], short["open_days"]) == (False, [], 5)
    assert short["alternatives"][0]["days"] == 7


def test_ways_out_are_told_with_what_changes() -> None:
    tired = SURE._replace(dips_left={"hill run": 0.39})
    fixed: dict[Date, str] = {"2031-04-01": "hill run"}
    found = as_object(plan_spacing(athlete(tired), {"hill run": 1, "row": 1}, fixed=fixed))
    (way,) = found["alternatives"]
    assert set(way) == {"kind", "days", "proven", "sessions", "instead_of"}
    assert way["instead_of"] == [{"date": "2031-04-01", "type": "hill run"}]
    assert set(found["hardest"]) == {"date", "type", "fixed", "chance", "asked"}


def test_what_is_kept_is_what_was_answered() -> None:
    here = athlete(SURE, (NIGHTS - 1, "hill run"))
    answer = plan_spacing(here, {"row": 2}, days=9, fixed={"2031-04-07": "row"}, rest=["Sunday"])
    kept = plan_to_keep(answer)
    assert (kept.season, str(kept.made_from), kept.start) == ("spring", str(LAST), answer.start)
    assert (kept.days, kept.rest) == (9, ["Sunday"])
    assert [Dated(row.date, row.type) for row in kept.logged] == list(answer.logged)
    assert kept.sessions == list(answer.sessions)
    assert [session.fixed for session in kept.sessions] == [False, True]
