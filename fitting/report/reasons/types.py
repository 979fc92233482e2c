"""Sentences about repeats of a type, and about what tells types apart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import quoted


def _never_left_undisturbed(types: list[str]) -> str:
    return (
        f"Never left undisturbed until it was over: {quoted(types)}. What is said of it rests on "
        "how the model splits overlapping dips; leave the next one undisturbed."
    )


def _latest_sessions_not_listed(count: int) -> str:
    what = "session is" if count == 1 else f"{count} sessions are"
    return f"The latest {what} not in the fit and not listed; fit again once a reading shows it."


def _no_two_values_trained(columns: list[str]) -> str:
    where = f"column {columns[0]!r}" if len(columns) == 1 else "any column"
    return (
        f"No two values in {where} of types.csv were trained, so there is nothing to compare. Give "
        "each type its attributes in types.csv (type, then columns such as mode or effort), fit "
        "again, and ask again."
    )


def _values_on_the_same_days(attribute: str, a: str, b: str) -> str:
    return (
        f"Types with {attribute} {a!r} and types with {attribute} {b!r} were always trained on the "
        "same days, so the two cannot be told apart; train them on days of their own."
    )


def _attributes_always_together(attributes: list[str], values: list[list[str]]) -> str:
    listed = ", ".join(f"{value!r} with {other!r}" for value, other in values)
    return (
        f"{' and '.join(attributes)} always go together ({listed}), so each contrast of the one is "
        "also the other's; a type that mixes them would tell them apart."
    )


def _values_of_the_same_types(attributes: list[str], values: list[str], types: list[str]) -> str:
    both = (f"{attribute} {value!r}" for attribute, value in zip(attributes, values, strict=True))
    return (
        f"{' and '.join(both)} are the same {'types' if len(types) > 1 else 'type'} "
        f"({quoted(types)}), so what is found of one is found of both."
    )


def _contrasts_of_one_type(attribute: str, value: str, type: str) -> str:
    return (
        f"Only {type!r} has {attribute} {value!r}, so its contrasts are that type's, not the "
        "attribute's by itself."
    )


def _sides_also_differ(
    attribute: str, a: str, b: str, other: str, of_a: list[str], of_b: list[str]
) -> str:
    left, right = (" or ".join(map(repr, values)) for values in (of_a, of_b))
    return (
        f"{attribute} {a!r} against {b!r} is also {other} {left} against {right}: the contrast is "
        "of both at once."
    )


def _recovers_otherwise(types: list[str]) -> str:
    return (
        f"After {quoted(types)}, readings do not climb as the model has it (the mornings after, by "
        "type): recovery may have two speeds, or be deepest later. Take the days of such a type "
        "with reserve."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "mornings after a type": "readings on the mornings after a session of the type, until another "
    "session came, against what the nights before foretold; by chance: of 20 seasons that recover "
    "as the model has it, 1 has any morning outside such a range",
    "recovers otherwise": _recovers_otherwise,
    "narrowing rule": "what each of the next {sessions} undisturbed sessions is expected to take "
    "off the width of the range of typical days",
    "gain rule": "a repeat pays most where narrows by, times the type's share of the sessions "
    "logged, is largest; types whose range is narrower than one day already are left out",
    "never left undisturbed": _never_left_undisturbed,
    "latest sessions not listed": _latest_sessions_not_listed,
    "same rule": "a difference under half a day is not meaningful: readings come once a night, "
    "and two recoveries that are closer than that show on the same morning more often than not",
    "no two values trained": _no_two_values_trained,
    "values on the same days": _values_on_the_same_days,
    "attributes always together": _attributes_always_together,
    "values of the same types": _values_of_the_same_types,
    "contrasts of one type": _contrasts_of_one_type,
    "sides also differ": _sides_also_differ,
}
