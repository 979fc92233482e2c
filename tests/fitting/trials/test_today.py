"""What a trial asks for on one day, how far it has come, and what endangers it."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
import xarray as xr
from rich.console import Console

from slackwater.fitting import trial_today
from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.trials.by_hand import MEASURE, day, season, trial

# row without, lift with, row with, lift without, row with (see trial_by_hand).
SESSIONS = [(10, "row"), (13, "lift"), (16, "row"), (18, "lift"), (22, "row")]
FOLLOWED = [13, 14, 15, 16, 17, 22, 23]


def ask(made: Season, number: int | None = None, per_arm: int = 4) -> xr.Dataset:
    return trial_today(made, trial(10, per_arm), None if number is None else day(number))


def printed(answer: xr.Dataset) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), answer)
    assert max(map(len, screen.getvalue().splitlines())) <= 80
    return " ".join(screen.getvalue().split())


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
    assert answer.attrs["use"] is use
    assert answer.attrs["stretch"]["first"] == iso(first)
    # What was known on the day itself: a later session cannot shorten a stretch yet.
    known = answer.attrs["stretch"]["until"]
    assert known in (iso(until), iso(first + 6))
    said = "Use ice bath today" if use else "Leave ice bath out today"
    assert said in printed(answer)


@pytest.mark.parametrize("number", [5, 9, 29])
def test_days_outside_a_stretch_ask_for_nothing(number: int) -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED), number)
    assert (answer.attrs["use"], answer.attrs["stretch"]) == (None, None)
    said = "Nothing yet: the trial begins" if number < 10 else "Nothing is assigned today"
    assert said in printed(answer)


def test_the_day_is_the_last_readings_if_left_out() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED))
    assert answer.attrs["day"] == iso(23)
    assert answer.attrs["use"] is True


def test_a_session_is_told_its_arm_when_it_is_logged_and_not_before() -> None:
    before = ask(season(24, SESSIONS[:4], FOLLOWED), 22)
    assert before.attrs["stretch"]["first"] == iso(18)
    after = ask(season(23, SESSIONS, FOLLOWED), 22)  # on the day itself, no reading yet
    assert after.attrs["stretch"]["first"] == iso(22)
    shown = printed(before)
    assert "with, without" not in shown  # no coming lot


def test_progress_by_arm_and_type() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED))
    assert answer["sessions"].sel(type="row").values.tolist() == [2, 1]
    assert answer["sessions"].sel(type="lift").values.tolist() == [1, 1]
    assert answer["counted"].sel(type="row").values.tolist() == [1, 1]  # the last is not over
    assert answer.attrs["reached"] == {"with": 2, "without": 2}
    assert answer.attrs["status"] == "running"
    assert "2 sessions with and 2 without tell of recovery; the plan is 4 of each" in printed(
        answer
    )


def test_what_was_missed_and_what_strayed() -> None:
    answer = ask(season(24, SESSIONS, used=[11, 13, 14, 16, 17, 20]), 23)
    assert answer.attrs["missed"] == [iso(15), iso(22)]  # today itself is not over
    assert answer.attrs["strayed"] == [iso(11), iso(20)]
    shown = printed(answer)
    assert f"Assigned and not logged: {iso(15)}, {iso(22)}." in shown
    assert f"Logged and not assigned: {iso(11)}, {iso(20)}." in shown
    clean = ask(season(24, SESSIONS, FOLLOWED), 23)
    assert (clean.attrs["missed"], clean.attrs["strayed"]) == ([], [])
    assert clean.attrs["warnings"] == []


def test_use_before_the_trial_is_no_straying() -> None:
    answer = ask(season(24, SESSIONS, used=[2, 3, *FOLLOWED]), 23)
    assert answer.attrs["strayed"] == []


def test_a_trial_that_has_its_number_says_so() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED), per_arm=2)
    assert answer.attrs["complete"]
    assert answer.attrs["use"] is None  # the stretch of day 22 is past the end
    assert "The planned number is reached: run slackwater trial analyse." in printed(answer)


def warned(**changes: Any) -> list[str]:
    facts: dict[str, Any] = {"interventions": [(d, MEASURE) for d in FOLLOWED]} | changes
    return list(ask(by_hand.season(24, SESSIONS, **facts), 23).attrs["warnings"])


def test_a_second_new_measure_is_said() -> None:
    applied = [(d, MEASURE) for d in FOLLOWED]
    (said,) = warned(interventions=[*applied, (19, "nap")])
    assert said.startswith(f"'nap' is new since the trial began ({iso(19)}). One measure at a time")
    assert warned(interventions=[*applied, (3, "nap"), (19, "nap")]) == []  # a habit of old


def test_a_stressor_is_said() -> None:
    answer = ask(season(24, SESSIONS, FOLLOWED, stressors=[(14, "head cold")]), 23)
    (said,) = answer.attrs["warnings"]
    assert said.startswith(f"The stretch of {iso(13)} (lift) had a stressor ('head cold')")
    assert answer.attrs["marked"] == [iso(13)]
    assert answer.attrs["reached"] == {"with": 1, "without": 2}


def test_an_unbalanced_trial_is_said() -> None:
    # Four pairs of rows; after each one with, the reading is missing.
    sessions = [(10 + 3 * k, "row") for k in range(8)]
    readings = np.full(40, 4.0)
    lots = ["without", "with", "with", "without", "with", "without", "without", "with"]
    for k, arm in enumerate(lots):
        if arm == "with":
            readings[[10 + 3 * k + 2, 10 + 3 * k + 3]] = np.nan
    readings[-1] = 4.0
    answer = trial_today(season(40, sessions, readings=readings.tolist()), trial(10))
    assert answer.attrs["reached"] == {"with": 1, "without": 4}
    assert any(
        w.startswith("The arms are unbalanced: 1 sessions with") for w in answer.attrs["warnings"]
    )


def test_the_same_as_json() -> None:
    found = as_object(ask(season(24, SESSIONS, used=[11]), 23))
    assert found["use"] is True
    assert found["stretch"] == {"type": "row", "first": iso(22), "until": iso(28), "days": 7}
    assert found["types"][1] == {
        "type": "lift",
        "sessions_with": 1,
        "counted_with": 1,
        "sessions_without": 1,
        "counted_without": 1,
    }
    assert found["sessions_per_arm"] == 4
    assert found["strayed"] == [iso(11)]
