"""Rest to baseline on a terminal."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from rich.console import Console

from slackwater.fitting import Athlete, washout
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.report.terminal.washout import text
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

NIGHTS = 30


def printed(athlete: Athlete) -> str:
    answer, screen = washout(athlete), io.StringIO()
    show(Console(file=screen, width=80, highlight=False), text(answer), answer)
    return screen.getvalue()


def whole(athlete: Athlete) -> str:
    return " ".join(printed(athlete).split())


def rowed(
    *days: int, left: Any, half_life: float = 1.0, level: Any = 4.0, **logged: Any
) -> Athlete:
    """A rower with a threshold of 0.05 ln and one group that dips."""
    known = Known({"row": (0.2, half_life)}, dips_left={"row": left}, level=level, session_sd=1e-12)
    season = by_hand.season(NIGHTS, [(day, "row") for day in days], **logged)
    return by_hand.athlete_of(season, known)


def test_the_days_still_needed_in_words() -> None:
    nearly = np.where(np.arange(1000) < 900, 0.04, 0.3)
    assert "No further rest is needed: the chance of being at baseline is 90 %" in whole(
        rowed(3, left=nearly)
    )
    assert (
        "2 more days of complete rest, until Tuesday 1 April: then the chance of being at baseline "
        "is 80 % or more (now under 1 %)."
    ) in whole(rowed(3, left=0.19))
    assert "More than 60 further days" in whole(rowed(3, left=0.4, half_life=500.0))


def test_rest_that_has_not_begun_is_to_mind() -> None:
    shown = whole(rowed(3, NIGHTS - 1, left=0.01))
    assert "Mind: Logged and still to be felt: row on 2031-03-30. Rest begins after that." in shown
    assert "no training not met row on 2031-03-30" in shown


def test_the_plateau_and_its_rules_are_said() -> None:
    shown = whole(rowed(24, left=0.01))
    assert "Rest so far: 4 nights (since row on 2031-03-25)." in shown
    assert (
        "Plateau of rest by the model: reached (3 flat nights in a row). By the model, a" in shown
    )
    assert "when the chance is at least 80 % that what rest could still add lay under the" in shown
    assert "when that was so two nights ago already. By the plain rule, no rise when the" in shown


def test_both_rules_stand_side_by_side_on_screen() -> None:
    readings: Any = np.full(NIGHTS, 4.0)
    readings[20:27], readings[27:], readings[22] = 3.8, 4.1, np.nan
    shown = printed(rowed(19, left=0.001, readings=readings))
    # Mean of three at 4.1 minus mean of three at 3.8 is 0.3 ln, which is 35 %.
    assert "flat, over 99 %       rising, +35 %" in shown
    assert "not read" in shown
    assert "cannot say" in shown
    assert "common practice, no source" in " ".join(shown.split())


def test_what_is_still_missing_is_counted() -> None:
    level = 4.0 + 0.05 * np.random.default_rng(5).standard_normal(1000)
    assert "1 of 4 still missing" in printed(rowed(20, left=1e-6, level=level))
    assert "all of it is there" in printed(rowed(20, left=1e-6))


def test_conditions_stand_in_words_on_screen_and_in_json() -> None:
    sensors = ["clip"] * 25 + ["strap"] * 5
    athlete = rowed(18, left=0.01, sensors=sensors, stressors=[(20, "cold")])
    found = {row["condition"]: row for row in as_object(washout(athlete))["conditions"]}
    shown = whole(athlete)
    for what, state, detail in (
        ("no training", "met", "none logged"),
        ("every night read", "met", "none missing"),
        ("no recovery measure", "met", "none logged"),
        ("the same sensor", "not met", "clip, strap"),
        ("slept as usual", "open", "no late nights, no strange bed?"),
    ):
        assert f"{what} {state} {detail}" in shown
        assert found[what] == {"condition": what, "state": state, "detail": detail}
    weighs = found["not ill, nothing else that weighs"]
    assert (weighs["state"], weighs["detail"]) == ("not met", "cold on 2031-03-21")


def test_general_experience_says_that_it_is_that() -> None:
    shown = whole(Athlete(by_hand.season(5)))
    assert "Rest to baseline by general experience, not about this athlete" in shown
    assert "Rest so far: 5 nights (no session so far). Rest from an unknown start usually" in shown
    assert "the readings play no part in it" in shown
    assert "One to two weeks of complete rest is common practice, no source." in shown
    assert "(since row on 2031-03-04)" in whole(Athlete(by_hand.season(10, [(3, "row")])))


def test_the_demo_fits_80_columns(demo_athlete: Athlete) -> None:
    shown = printed(demo_athlete)
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert "no diagnosis" in shown
