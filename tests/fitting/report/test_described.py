"""Whether the model describes a season, in words: what departs, and what that means."""

from __future__ import annotations

import pytest

from slackwater.fitting.report.described import verdict
from slackwater.fitting.report.reasons import sentence
from slackwater.model.errors import Reason


def test_nothing_found_is_said_to_be_no_proof() -> None:
    (said,) = verdict(())
    assert said.startswith("Nothing speaks against the model")
    assert "no proof" in said


def test_what_departs_is_counted_and_told() -> None:
    low = Reason("weekday lies off", weekday="Monday", percent=-7.6)
    said = verdict((low, Reason("scatter changed", ratio=1.62)))
    assert said[0] == "The readings depart from the model in 2 ways."
    assert said[1] == (
        "Your Monday mornings lie 8 % low whatever you did: log what your Sundays hold in "
        "stressors.csv. As it is, sessions on fixed weekdays are blamed for it, and their days to "
        "recover are off."
    )
    assert "scatter 1.6 times as much" in said[2]
    assert "rather too narrow" in said[2]


@pytest.mark.parametrize(
    ("reason", "parts"),
    [
        (
            Reason("weekday lies off", weekday="weekend", percent=-10.0),
            ["Your weekend mornings lie 10 % low", "what your Fridays and Saturdays hold"],
        ),
        (
            Reason("weekday lies off", weekday="Friday", percent=6.0),
            ["lie 6 % high", "on other days than Thursdays"],
        ),
        (
            Reason("after a session off", first=3, last=5, type="hill run", percent=-4.4),
            [
                "On the 3rd to 5th morning after 'hill run' readings lie 4 % low",
                "days to recover from 'hill run' are rather too few",
            ],
        ),
        (
            Reason("after a session off", first=5, last=None, type=None, percent=3.0),
            [
                "On the 5th morning and later after a session readings lie 3 % high",
                "days to recover are rather too many",
            ],
        ),
        (
            Reason("after a session off", first=1, last=1, type=None, percent=3.0),
            ["On the 1st morning after a session", "with care"],
        ),
        (Reason("scatter changed", ratio=0.6), ["0.6 times", "rather too wide"]),
        (Reason("nights linger", correlation=0.31), ["+0.31", "rather too many"]),
        (Reason("nights alternate", correlation=-0.3), ["\N{MINUS SIGN}0.30"]),
        (Reason("far nights uneven", low=7, high=1, lower=True), ["7 far below", "pulls"]),
        (Reason("far nights uneven", low=1, high=6, lower=False), ["6 far above", "went wrong"]),
        (Reason("dose counts otherwise", times=1.4), ["1.4 times", "too much", "too many"]),
        (Reason("dose counts otherwise", times=2.9), ["2.9 times", "too little", "too few"]),
        (Reason("one night far off", date="2031-04-02"), ["2031-04-02", "take it out"]),
        (Reason("nights low in a row", date="2031-04-02"), ["From 2031-04-02 on", "log it"]),
    ],
    ids=lambda value: value.code if isinstance(value, Reason) else "",
)
def test_each_departure_says_what_it_means(reason: Reason, parts: list[str]) -> None:
    said = sentence(reason)
    assert [part for part in parts if part not in said] == []
