"""What a trial asks for on one day, how far it has come, and what endangers it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from slackwater.fitting import trial_today
from slackwater.fitting.trials.today import StretchToday, TrialToday
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.trials.by_hand import MEASURE, day, season, trial, unfitted

# row without, lift with, row with, lift without, row with (see trial_by_hand).
SESSIONS = [(10, "row"), (13, "lift"), (16, "row"), (18, "lift"), (22, "row")]
FOLLOWED = [13, 14, 15, 16, 17, 22, 23]


def ask(made: Season, number: int | None = None, per_arm: int = 4) -> TrialToday:
    athlete = unfitted(made, trial(10, per_arm))
    return trial_today(athlete, None if number is None else day(number))


def iso(number: int) -> str:
    return str(day(number))


@pytest.mark.parametrize(
    ("number", "use", "first", "until"),
    [
        (10, False, 10, 12),
        (12, False, 10, 12),
        (13, True, 13, 15),
        (17, True, 16, 17),
        (21, False, 18, 21),
        (22, True, 22, 28),  # the next session is not known yet: a week at most
        (28, True, 22, 28),
    ],
)
def test_each_day_of_a_stretch_has_its_arm(number: int, use: bool, first: int, until: int) -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED), number)
    assert answer.use is use
    assert answer.stretch is not None
    assert answer.stretch.first == day(first)
    # What was known on the day itself: a later session cannot shorten a stretch yet.
    assert answer.stretch.until in (day(until), day(first + 6))
    assert answer.stretch.days == (answer.stretch.until - day(first)).astype(int) + 1


@pytest.mark.parametrize("number", [5, 9, 29])
def test_days_outside_a_stretch_ask_for_nothing(number: int) -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED), number)
    assert (answer.use, answer.stretch) == (None, None)
    assert not answer.complete
    assert (answer.day < np.datetime64(answer.start)) == (number < 10)


def test_the_day_is_the_last_readings_if_left_out() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED))
    assert answer.day == day(23)
    assert answer.use is True


def test_a_session_is_told_its_arm_when_it_is_logged_and_not_before() -> None:
    before = ask(season(24, SESSIONS[:4], FOLLOWED), 22)
    assert before.stretch is not None
    assert before.stretch.first == day(18)
    after = ask(season(23, SESSIONS, FOLLOWED), 22)  # on the day itself, no reading yet
    assert after.stretch is not None
    assert after.stretch.first == day(22)


def test_progress_by_arm_and_type() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED))
    table = answer.types
    assert table["type"].values.tolist() == ["row", "lift"]
    assert table["sessions_with"].values.tolist() == [2, 1]
    assert table["sessions_without"].values.tolist() == [1, 1]
    assert table["counted_with"].values.tolist() == [1, 1]  # the last is not over
    assert table["counted_without"].values.tolist() == [1, 1]
    assert answer.reached == {"with": 2, "without": 2}
    assert (answer.status, answer.sessions_per_arm) == ("running", 4)


def test_what_was_missed_and_what_strayed() -> None:
    answer = ask(season(24, SESSIONS, used=[11, 13, 14, 16, 17, 20]), 23)
    assert answer.missed == (day(15), day(22))  # today itself is not over
    assert answer.strayed == (day(11), day(20))
    clean = ask(season(24, SESSIONS, FOLLOWED), 23)
    assert (clean.missed, clean.strayed) == ((), ())
    assert clean.about.warnings == ()


def test_use_before_the_trial_is_no_straying() -> None:
    answer = ask(season(24, SESSIONS, used=[2, 3, *FOLLOWED]), 23)
    assert answer.strayed == ()


def test_a_trial_that_has_its_number_says_so() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED), per_arm=2)
    assert answer.complete
    assert answer.use is None  # the stretch of day 22 is past the end


def warned(**changes: Any) -> tuple[Reason, ...]:
    facts: dict[str, Any] = {"interventions": [(d, MEASURE) for d in FOLLOWED]} | changes
    return ask(by_hand.season(24, SESSIONS, **facts), 23).about.warnings


def test_a_second_new_measure_is_said() -> None:
    applied = [(d, MEASURE) for d in FOLLOWED]
    new = Reason("another new measure", measure="nap", since=iso(19), tried=MEASURE)
    assert warned(interventions=[*applied, (19, "nap")]) == (new,)
    assert warned(interventions=[*applied, (3, "nap"), (19, "nap")]) == ()  # a habit of old


def test_a_stressor_is_said() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED, stressors=[(14, "head cold")]), 23)
    assert answer.about.warnings == (
        Reason("stressor in a stretch", first=iso(13), type="lift", stressors=["head cold"]),
    )
    assert answer.marked == (day(13),)
    assert answer.reached == {"with": 1, "without": 2}


def test_an_unbalanced_trial_is_said() -> None:
    # Four pairs of rows; after each one with, the reading is missing.
    sessions = [(10 + 3 * k, "row") for k in range(8)]
    readings = np.full(40, 4.0)
    lots = ["without", "with", "with", "without", "with", "without", "without", "with"]
    for k, arm in enumerate(lots):
        if arm == "with":
            readings[[10 + 3 * k + 2, 10 + 3 * k + 3]] = np.nan
    readings[-1] = 4.0
    answer = ask(season(40, sessions, readings=readings.tolist()))
    assert answer.reached == {"with": 1, "without": 4}
    unbalanced = Reason("unbalanced arms", sessions_with=1, sessions_without=4, less="with")
    assert unbalanced in answer.about.warnings


def test_what_a_stretch_is_told_by() -> None:
    answer = ask(season(24, SESSIONS, used=[11]), 23)
    assert answer.stretch == StretchToday("row", day(22), day(28), 7)


def test_without_an_open_trial_or_with_a_level_that_is_none() -> None:
    with pytest.raises(NoAnswerError) as caught:
        trial_today(unfitted(season(24, SESSIONS)))
    assert caught.value.reasons == (Reason("no open trial"),)
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        trial_today(unfitted(season(24, SESSIONS), trial(10)), level=80)


def test_a_recovered_day_has_a_lot_of_its_own() -> None:
    kept = trial(10, 4, recovered_after={"row": 6, "lift": 4})
    made = season(32, SESSIONS, FOLLOWED)
    found = [trial_today(unfitted(made, kept), day(d)) for d in (27, 28, 29, 33)]
    row, first, second, to_come = found
    assert row.stretch is not None
    assert row.stretch.type == "row"
    for answer, number in ((first, 28), (second, 29), (to_come, 33)):
        assert answer.stretch is not None
        assert answer.stretch.type == "recovered day"
        assert answer.stretch.first == answer.stretch.until == day(number)
    assert {first.use, second.use} == {True, False}  # a pair
    assert sum(to_come.recovered.values() if to_come.recovered else []) == 3  # 28 to 30 were read
    assert ask(made, 28).recovered is None
