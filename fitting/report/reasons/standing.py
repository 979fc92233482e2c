"""Sentences about where the athlete stands, and about rest to baseline."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural

_IN_WORDS: Final = {2: "two", 3: "three", 4: "four"}


def _plateau_rule(chance: float, nights: int) -> str:
    return (
        f"a night counts as flat when the chance is at least {words.chance(chance)} that what "
        f"rest could still add lay under the threshold; rest is on a plateau when that was so "
        f"{_IN_WORDS.get(nights - 1, nights - 1)} nights ago already, without a session since: a "
        "dip only shrinks, so that this is one condition, about that night"
    )


def _flat_by_the_model(chance: float, nights: int) -> str:
    return (
        f"a night is flat when the chance is at least {words.chance(chance)} that what rest could "
        f"still add lay under the threshold, and rest is on a plateau when that was so "
        f"{_IN_WORDS.get(nights - 1, nights - 1)} nights ago already"
    )


def _with_dates(labels: list[str], dates: list[str], between: str = ", ") -> str:
    pairs = zip(labels, dates, strict=True)
    return between.join(f"{label} on {date}" for label, date in pairs)


def _unexplained(since: str, percent: float, nights: int) -> str:
    return (
        f"Since {since} readings lie at a level about {-percent:.0f} % lower than before, and the "
        f"log does not explain it ({plural(nights, 'night')} by now). {words.WHERE_LOWER}"
    )


def _rest_after(labels: list[str], dates: list[str]) -> str:
    return _with_dates(labels, dates, " and ")


def _rest_not_begun(labels: list[str], dates: list[str]) -> str:
    coming = _with_dates(labels, dates)
    return f"Logged and still to be felt: {coming}. Rest begins after that."


def _logged(names: list[str]) -> str:
    return ", ".join(names)


SENTENCES: Final[Mapping[str, Sentence]] = {
    "unexplained": _unexplained,
    "plateau rule": _plateau_rule,
    "flat by the model": _flat_by_the_model,
    "flat by the plain rule": "no rise when the mean of the last three readings is not above the "
    "mean of the three before by more than the threshold (common practice, no source)",
    "common practice of rest": "One to two weeks of complete rest is common practice, no source.",
    "general experience": "This is general experience, not about this athlete: nothing "
    "was fitted yet, so it comes from what is usual, and the readings play no part in it. With "
    "two weeks of readings, a fit learns from them.",
    "rest after": _rest_after,
    "rest not begun": _rest_not_begun,
    "no training": "no training",
    "every night read": "every night read",
    "no recovery measure": "no recovery measure",
    "the same sensor": "the same sensor",
    "nothing else that weighs": "not ill, nothing else that weighs",
    "slept as usual": "slept as usual",
    "fed as usual": "fed as usual",
    "logged": _logged,
    "logged, with dates": _with_dates,
    "none logged": "none logged",
    "nights not read": "{count} not read",
    "none missing": "none missing",
    "no sensor named": "readings.csv names none: was it the same?",
    "no stressor logged": "no stressor is logged: is that so?",
    "asked about sleep": "no late nights, no strange bed?",
    "asked about food": "enough to eat, no diet, no fasting, little alcohol?",
}
