"""The one answer of a morning, against a state made by hand."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, baseline, forecast, plan_spacing, today
from slackwater.fitting.journey.today import Today, morning_of
from slackwater.fitting.records.plans import KeptPlan
from slackwater.fitting.records.trials import Trial
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import run
from tests.fitting.records.by_hand import plan as kept
from tests.fitting.report import folders
from tests.fitting.state.test_back import LEFT, WAITING
from tests.fitting.state.test_unexplained import dropped
from tests.fitting.trials import by_hand as trials
from tests.fitting.trials.by_hand import MEASURE

NIGHTS = 30
LAST = FIRST + DAY * (NIGHTS - 1)
LOGGED = [(3, "hill run"), (9, "row"), (15, "hill run"), (20, "row")]


def athlete(
    *sessions: tuple[int, str],
    known: Known = WAITING,
    plans: tuple[KeptPlan, ...] = (),
    of: tuple[Trial, ...] = (),
    **log: Any,
) -> Athlete:
    season = by_hand.season(NIGHTS, [*LOGGED, *sessions], **log)
    posterior = whole_posterior(season, known, 300, 0.0)
    return Athlete(season, posterior, plans=plans, trials=of)


def on(day: int) -> dt.date:
    date: dt.date = (FIRST + DAY * day).astype(object)
    return date


def dates(answer: Today) -> set[dt.date | None]:
    return {row.from_ for row in answer.types}


def codes(answer: Today) -> list[str]:
    return [reason.code for reason in answer.missing]


def test_each_type_waits_for_the_first_morning_with_the_chance() -> None:
    """A quarter of the draws is back on each morning, from this one on."""
    here = athlete()
    answer = today(here)
    assert [row.type for row in answer.types] == ["hill run", "row"]
    assert [row.last_done for row in answer.types] == [on(15), on(20)]
    assert {row.chance_today for row in answer.types} == {answer.chance_at_baseline} == {0.25}
    assert dates(answer) == {answer.back_by} == {on(32)}
    assert dates(today(here, 0.75)) == {on(31)}
    assert dates(today(here, 0.25)) == {on(29)} == {answer.morning}
    assert answer.at_baseline == "possibly"


@pytest.mark.parametrize("chance", [0.4, 0.6, 0.8])
def test_a_plan_and_a_forecast_say_the_same(chance: float) -> None:
    here = athlete((31, "row"))
    answer = today(here, chance)
    (first,) = plan_spacing(here, {"row": 1}, 14, chance=chance).sessions
    assert dates(answer) == {first.date}
    assert answer.chance_at_baseline == baseline(here).chance_at_baseline
    foreseen = forecast(here, nights=9).nights["chance_at_baseline"]
    later = today(here, chance, LAST + 5 * DAY)
    assert later.chance_at_baseline == float(foreseen.sel(night=LAST + 5 * DAY))


def test_a_day_with_a_logged_session_is_no_day_for_another() -> None:
    ready = WAITING._replace(dips_left={})
    assert dates(today(athlete(known=ready))) == {on(29)}
    answer = today(athlete((29, "row"), known=ready))
    assert answer.logged == ("row",)
    # 0.07 is felt on day 30, 0.035 is left on day 31.
    assert dates(answer) == {answer.back_by} == {on(31)}


def test_the_reading_and_the_state_are_told_apart() -> None:
    known = WAITING._replace(level=np.log(60.0), dips_left={"row": -np.log(0.9)})
    answer = today(athlete(known=known, readings=np.full(NIGHTS, np.log(57.0))))
    assert answer.reading_ms == pytest.approx(57)
    assert answer.reading_percent == pytest.approx(-5)
    assert answer.baseline_rmssd_ms.median == pytest.approx(60)
    assert np.expm1(-answer.dip_left_ln.median) == pytest.approx(-0.1)
    assert answer.types[1].dip_left_ln.median == pytest.approx(-np.log(0.9))


def test_a_morning_without_a_reading_is_foreseen_and_says_so() -> None:
    answer = today(athlete(), morning=LAST + DAY)
    assert (answer.morning, answer.reading_ms, answer.reading_percent) == (on(30), None, None)
    assert answer.chance_at_baseline == 0.5
    assert answer.types[0].dip_left_ln.median < today(athlete()).types[0].dip_left_ln.median
    assert codes(answer) == ["no reading this morning"]
    assert codes(today(athlete(), morning=LAST + 3 * DAY)) == ["no reading since"]
    gaps = np.full(NIGHTS, 4.0)
    gaps[[10, 25, 27]] = np.nan
    assert codes(today(athlete(readings=gaps))) == ["nights not read lately"]


@pytest.mark.parametrize("days", [-1, 61])
def test_mornings_out_of_sight_are_refused(days: int) -> None:
    with pytest.raises(QuestionError, match="not among the mornings"):
        today(athlete(), morning=LAST + days * DAY)
    with pytest.raises(QuestionError, match=r"0\.8 is the default"):
        today(athlete(), 1.0)


@pytest.mark.parametrize(
    ("clock", "asked"), [(-400, 0), (-1, 0), (0, 0), (1, 1), (60, 60), (61, 0)]
)
def test_the_day_that_it_is_counts_as_far_as_it_can_be_foreseen(clock: int, asked: int) -> None:
    assert morning_of(athlete().season, on(29 + clock)) == LAST + DAY * asked


def test_nothing_is_offered_while_something_is_unexplained() -> None:
    answer = today(dropped())
    assert answer.unexplained is not None
    assert dates(answer) == {None}


def test_the_plan_of_the_day_and_what_comes_next() -> None:
    plan = kept((29, "row", 0.9), (33, "hill run", 0.9), start=28)
    answer = today(athlete(known=WAITING._replace(dips_left={}), plans=(plan,)))
    assert (answer.planned, answer.overtaken) == ("row", ())
    assert answer.next_planned is not None
    assert answer.next_planned.date == on(33)
    assert today(athlete()).planned is None


def test_what_was_planned_and_is_not_logged_is_asked_after() -> None:
    plan = kept((20, "row", 0.9), (26, "row", 0.9), (33, "hill run", 0.9), start=16)
    answer = today(athlete(plans=(plan,)))
    assert codes(answer) == ["planned and not logged"]
    assert answer.missing[0].facts == {"type": "row", "date": str(on(26))}
    assert [r.code for r in answer.overtaken] == []


def test_a_plan_that_is_overtaken_is_told() -> None:
    plan = kept((29, "row", 0.9), start=26)
    answer = today(athlete((28, "hill run"), plans=(plan,)))
    assert answer.overtaken[0].code == "done beside the plan"


def test_the_trials_word_for_the_day() -> None:
    running = trials.trial(start=0)
    types = {"row": (0.07, 1.0), "lift": (0.07, 1.0)}
    season = by_hand.season(20, [(2, "row"), (10, "lift"), (17, "row")])
    posterior = whole_posterior(season, Known(types), 100, 0.0)
    here = Athlete(season, posterior, trials=[running])
    answer = today(here)
    assert answer.measure == MEASURE
    # The second stretch of rows: the first pair of lots is without, then with.
    assert answer.measure_today == "with"
    assert answer.measure_until == on(23)
    assert "measure not logged" in codes(answer)
    assert today(athlete()).measure is None


def test_stressors_of_the_week_are_named() -> None:
    known = WAITING._replace(stressors={"cold": (0.1, 1.0)})
    log = [(10, "cold"), (25, "cold"), (26, "cold")]
    assert today(athlete(known=known, stressors=log)).stressors == ("cold",)
    assert today(athlete(known=known, stressors=[(10, "cold")])).stressors == ()


def test_without_a_fit_there_is_no_answer() -> None:
    with pytest.raises(NoAnswerError):
        today(Athlete(by_hand.season(NIGHTS, LOGGED)))


def test_the_command_prints_a_screen_and_the_same_as_json(tmp_path: Path) -> None:
    season = by_hand.season(NIGHTS, LOGGED)
    known = WAITING._replace(dips_left={"hill run": LEFT[::3]})
    folders.write_season(tmp_path, season, known)
    ran = run("today", tmp_path)
    assert ran.status == 0
    lines = ran.out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    told = json.loads(run("today", tmp_path, "--chance", "0.75", "--json").out)
    assert told["types"][0]["from"] == str(on(31))
    assert told["unexplained"] is told["planned"] is told["measure_today"] is None
    assert told["next"]["command"].startswith("slackwater ")
    later = json.loads(run("today", tmp_path, "--date", str(on(31)), "--json").out)
    assert (later["morning"], later["reading_ms"]) == (str(on(31)), None)
    assert run("today", tmp_path, "--chance", "2").status == 2
