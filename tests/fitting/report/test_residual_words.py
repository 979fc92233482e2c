"""The numbers of residuals as they are shown."""

from __future__ import annotations

from dataclasses import replace

from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.describing.held import AfterSession, Held
from slackwater.fitting.report.residual_words import after, number, percent

FOUND = Held(
    z=-3.5,
    chance=0.03,
    departs=True,
    value=Interval(-10.6, -8.2, -5.7),
    by_chance=Interval(-7.7, 0.0, 8.3),
)


def plain(shown: tuple[str, str]) -> tuple[str, ...]:
    return tuple(text.replace("\N{MINUS SIGN}", "-") for text in shown)


def test_numbers_stand_beside_their_range_by_chance() -> None:
    assert plain(percent(FOUND)) == ("-8 (-11 to -6)", "-8 to +8")
    small = Held(
        z=0.1, chance=1.0, departs=False,
        value=Interval(-0.05, 0.01, 0.07), by_chance=Interval(-0.2, 0.0, 0.2),
    )  # fmt: skip
    assert plain(number(small, signed=True)) == ("+0.01 (-0.05 to +0.07)", "-0.20 to +0.20")
    assert plain(number(small)) == ("0.01 (-0.05 to 0.07)", "-0.20 to 0.20")


def test_mornings_after_a_session_are_named() -> None:
    any_type = AfterSession(**vars(FOUND), first_night=2, last_night=2, readings=9)
    assert after(any_type) == "2nd morning"
    assert after(replace(any_type, first_night=5, last_night=None)) == "5th morning and later"
    hills = replace(any_type, first_night=3, last_night=5, type="hill run")
    assert after(hills) == "hill run, 3rd to 5th morning"
