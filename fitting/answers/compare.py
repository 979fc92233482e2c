"""One session type, or value of an attribute, against another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.answers.support import confounded_types, types_in_a_row
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, Reason, unknown_name


@dataclass(frozen=True)
class Difference(Answer):
    """How many days more one side takes to recover from than the other.

    Attributes:
        a: the first type, or value of the attribute.
        b: the second.
        difference_days: a minus b.
        chance_a_slower: the chance that a takes longer.
        longer: which of the two more likely takes longer, by the middle estimate.
        attribute: the attribute that the two are values of; None for two types.
    """

    a: str
    b: str
    difference_days: Interval
    chance_a_slower: float
    longer: str
    attribute: str | None = None


def compare_types(athlete: Athlete, a: str, b: str, level: float = DEFAULT_LEVEL) -> Difference:
    """Answer how many days more type `a` takes to recover from than type `b`.

    Raises:
        QuestionError: a type is unknown.
        NoAnswerError: the two cannot be told apart from what was trained.
    """
    now = athlete.now
    for name in (a, b):
        if name not in now.types:
            raise unknown_name("session type", name, now.types)
    return _difference(now, (a, b), ([a], [b]), level)


def compare_attribute(
    athlete: Athlete, attribute: str, a: str, b: str, level: float = DEFAULT_LEVEL
) -> Difference:
    """Answer how many days more types with value `a` take than types with value `b`.

    Each side is the mean over the types trained that have the value.

    Raises:
        QuestionError: no such attribute or value.
        NoAnswerError: a side was never trained, or cannot be told apart.
    """
    now = athlete.now
    if attribute not in now.season.attributes:
        raise unknown_name("attribute", attribute, now.season.attributes)
    has, all_values = types_by_value(now, attribute)
    for value in (a, b):
        if value not in all_values:
            raise unknown_name(f"value of {attribute!r}", value, all_values)
        if value not in has:
            raise NoAnswerError(Reason("value never trained", attribute=attribute, value=value))
    alone = [
        Reason("one type has the value", attribute=attribute, value=v, type=has[v][0])
        for v in (a, b)
        if len(has[v]) == 1
    ]
    return _difference(now, (a, b), (has[a], has[b]), level, alone, attribute)


def _difference(
    now: Standing,
    names: tuple[str, str],
    sides: tuple[list[str], list[str]],
    level: float,
    warnings: list[Reason] | None = None,
    attribute: str | None = None,
) -> Difference:
    why_not = confounded_types(now)
    for label in (*sides[0], *sides[1]):
        if label in why_not:
            raise NoAnswerError(why_not[label])
    asked = {*sides[0], *sides[1]}
    in_a_row = [why for why in types_in_a_row(now) if asked & set(why.facts["types"])]
    difference = contrast(now, typical_days(now), sides)
    bounds = interval(difference, level)
    a, b = names
    return Difference(
        about(now, level, [*in_a_row, *(warnings or ())]),
        a=a,
        b=b,
        difference_days=bounds,
        chance_a_slower=chance_slower(difference),
        longer=a if bounds.median >= 0 else b,
        attribute=attribute,
    )


def types_by_value(now: Standing, attribute: str) -> tuple[dict[str, list[str]], list[str]]:
    """Return the trained types that have each value of an attribute, and all its values.

    Args:
        now: the state.
        attribute: one of the season's.

    Returns:
        The types of every value that was trained, in the season's order; every value.
    """
    data = now.season.data
    column = now.season.attributes.index(attribute)
    values = [str(v) for v in data[n.TYPE_ATTRIBUTE].values[:, column]]
    has: dict[str, list[str]] = {}
    for label, value in zip(now.season.types, values, strict=True):
        if value and label in now.types:
            has.setdefault(value, []).append(label)
    return has, list(dict.fromkeys(v for v in values if v))


def contrast(now: Standing, by_type: Floats, sides: tuple[list[str], list[str]]) -> Floats:
    """Return the mean over one side's types minus that over the other's, shape (S,).

    Args:
        now: the state.
        by_type: what is compared, shape (S, K).
        sides: the types of either side.
    """
    a, b = (by_type[:, [now.types.index(t) for t in side]].mean(axis=1) for side in sides)
    return np.asarray(a - b)


def chance_slower(difference: Floats) -> float:
    """Return the chance that a difference in days is above 0; an exact tie counts half."""
    return float((difference > 0).mean() + 0.5 * (difference == 0).mean())
