"""Sentences about what the data tell of recovery, and by what rules."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import times


def _always_the_same_days(types: list[str]) -> str:
    return (
        f"{' and '.join(map(repr, types))} were always trained on the same days, so their recovery "
        "cannot be told apart; train each alone a few times, or log them as one type."
    )


def _always_in_a_row(types: list[str]) -> str:
    return (
        f"{' and '.join(map(repr, types))} always follow one another in the same way, so how fast "
        "one of them recovers can hardly be told from how deep the others dip: their days lean on "
        "general experience. Do one of them a few times without the others following."
    )


def _trained_a_few_times(type: str, sessions: int) -> str:
    return (
        f"{type!r} was trained {times(sessions)} only: its answer leans on the other types and on "
        "general experience."
    )


def _too_few_to_compare(measure: str, side: str, nights: int, sessions: int) -> str:
    return (
        f"There are {nights} nights and {sessions} sessions {side} {measure!r}: too few to "
        "compare. Use it in some weeks and not in others, on each day until recovered."
    )


def _on_trial(measure: str) -> str:
    return (
        f"The trial of {measure!r} is under way and not judged yet. Results before its end are "
        "not shown: who stops at a lucky moment finds what is not there. The trial is judged when "
        "it is due; a look before that is possible there, and is kept in the record."
    )


def _lift_or_rate(measure: str, share: float) -> str:
    return (
        f"These data cannot tell well whether {measure!r} speeds recovery or merely lifts the "
        f"readings of the nights on which it is used: {100 * share:.0f} % of what is not known of "
        "the one is not knowing the other. Use it on some days with nothing to recover from, too."
    )


def _some_types_only(measure: str) -> str:
    return (
        f"{measure!r} was always used after some types and never after the others, so its effect "
        "cannot be told from theirs; use it after some sessions of a type and not after others."
    )


def _one_type_only(measure: str, type: str) -> str:
    return (
        f"Only {type!r} was trained both with and without {measure!r}: the answer says little "
        "about other types."
    )


def _one_type_has_the_value(attribute: str, value: str, type: str) -> str:
    return (
        f"Only {type!r} has {attribute} {value!r}, so this compares that type, not the attribute "
        "by itself."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "a dose never shown": "A {label!r} with dose {dose:g} lies far beyond every dose that this "
    "season has shown (up to {most:g}), so what it would do is not known. Dose is relative: 1 is "
    "that type's usual session.",
    "threshold rule": words.USUAL_THRESHOLD,
    "threshold fixed": "season.toml fixes it at {percent:g} %",
    "no session shown": "No session is logged that a reading could show, so there is nothing to "
    "learn days to recover from. Log sessions in sessions.csv (date, type).",
    "always the same days": _always_the_same_days,
    "always in a row": _always_in_a_row,
    "trained a few times": _trained_a_few_times,
    "too few to compare": _too_few_to_compare,
    "on trial": _on_trial,
    "no verdict outside a trial": "No verdict outside a trial: the measure was used when the "
    "athlete chose, and nobody counts how often its result is looked at, so that a lucky moment "
    "would pass for an effect",
    "verdict of its trial": "The verdict is that of trial {trial}, given once at its planned end: "
    "{rule}",
    "verdict of all together": "The verdict is that of trial {trial}, all that was ever tried "
    "judged together: {rule}",
    "a trial settles it": "A trial would settle it: lots say after which sessions to use it, and "
    "its rule is fixed beforehand.",
    "lift or rate": _lift_or_rate,
    "some types only": _some_types_only,
    "one type only": _one_type_only,
    "one type has the value": _one_type_has_the_value,
    "value never trained": "No type with {attribute} {value!r} has been trained yet.",
}
