"""What each element of training contributes: attribute values against each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.attribute_values import (
    Pair,
    Value,
    entangled,
    inseparable,
    values_of,
)
from slackwater.fitting.answers.compare import chance_slower, contrast
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason, unknown_name
from slackwater.model.priors import LN_2

SAME_DAYS: Final = 0.5
SAME_RULE: Final = Reason("same rule")


@dataclass(frozen=True)
class Contrast:
    """One value of an attribute against another, each the mean over the types that have it.

    Attributes:
        attribute: the column of types.csv.
        a: the first value.
        b: the second.
        difference_days: typical days to recover, a minus b.
        difference_dip_ln: the same of the first night's dip, ln.
        difference_dip_percent: the same in points of the reading.
        difference_half_life_days: the same of the half-life.
        longer: which of the two more likely takes longer, by the middle estimate.
        off_zero: whether the whole range of days lies to that side.
        chance_a_slower: the chance that a takes longer.
        chance_a_longer: that it does by `SAME_DAYS` or more.
        chance_b_longer: that b does by as much.
        chance_same: that neither does.
        types_a, types_b, sessions_a, sessions_b: what either side rests on.
    """

    attribute: str
    a: str
    b: str
    difference_days: Interval
    difference_dip_ln: Interval
    difference_dip_percent: Interval
    difference_half_life_days: Interval
    longer: str
    off_zero: bool
    chance_a_slower: float
    chance_a_longer: float
    chance_b_longer: float
    chance_same: float
    types_a: int
    types_b: int
    sessions_a: int
    sessions_b: int


@dataclass(frozen=True)
class RefusedContrast:
    """Two values of an attribute that cannot be compared, and why."""

    attribute: str
    a: str
    b: str
    why: Reason


@dataclass(frozen=True)
class Elements(Answer):
    """How every attribute value differs from every other, over all types.

    Attributes:
        contrasts: every pair of values of an attribute that can be compared.
        values: every value trained.
        refused: the other pairs.
        entangled: what the contrasts cannot separate.
        expected_misses: how many of the ranges of days would be expected to miss.
        same_within_days: the smallest difference that is meaningful.
        same_rule: why that one.
    """

    contrasts: tuple[Contrast, ...]
    values: tuple[Value, ...]
    refused: tuple[RefusedContrast, ...]
    entangled: tuple[Reason, ...]
    expected_misses: float
    same_within_days: float = SAME_DAYS
    same_rule: Reason = SAME_RULE


def elements(
    athlete: Athlete, attribute: str | None = None, level: float = DEFAULT_LEVEL
) -> Elements:
    """Answer how every attribute value differs from every other, over all types.

    Each side is the mean over the types trained that have the value, as in
    `compare_attribute`.

    Args:
        athlete: the season and what was learnt of it.
        attribute: the one column of types.csv to answer for; all if left out.
        level: credible mass of every interval.

    Raises:
        QuestionError: no such attribute.
        NoAnswerError: no two values can be compared.
    """
    now, columns = athlete.now, athlete.season.attributes
    if attribute is not None and attribute not in columns:
        raise unknown_name("attribute", attribute, columns)
    by_column = {column: values_of(now, column) for column in columns}
    asked = columns if attribute is None else [attribute]
    pairs = [pair for column in asked for pair in combinations(by_column[column], 2)]
    refused = inseparable(now, pairs)
    kept = [pair for pair in pairs if pair not in refused]
    if not kept:
        reasons = dict.fromkeys(refused.values())
        raise NoAnswerError(*reasons or [Reason("no two values trained", columns=asked)])
    return Elements(
        about(now, level),
        contrasts=tuple(_contrasts(now, kept, level)),
        values=tuple(value for column in asked for value in by_column[column]),
        refused=tuple(
            RefusedContrast(a.attribute, a.value, b.value, why) for (a, b), why in refused.items()
        ),
        entangled=tuple(entangled(by_column, asked, kept)),
        expected_misses=len(kept) * (1 - level),
    )


def _contrasts(now: Standing, pairs: Iterable[Pair], level: float) -> Iterator[Contrast]:
    dips = np.exp(now.parameter(n.TYPE_LOG_DIP))
    by_type = {
        "difference_days": typical_days(now),
        "difference_dip_ln": dips,
        "difference_dip_percent": -100 * np.expm1(-dips),
        "difference_half_life_days": LN_2 / np.exp(now.parameter(n.TYPE_LOG_RATE)),
    }
    for a, b in pairs:
        draws = {
            name: contrast(now, values, (list(a.types), list(b.types)))
            for name, values in by_type.items()
        }
        bounds = {name: interval(each, level) for name, each in draws.items()}
        days = draws["difference_days"]
        low, median, high = bounds["difference_days"]
        yield Contrast(
            attribute=a.attribute,
            a=a.value,
            b=b.value,
            **bounds,
            longer=a.value if median >= 0 else b.value,
            off_zero=low > 0 or high < 0,
            chance_a_slower=chance_slower(days),
            chance_a_longer=float((days >= SAME_DAYS).mean()),
            chance_b_longer=float((days <= -SAME_DAYS).mean()),
            chance_same=float((np.abs(days) < SAME_DAYS).mean()),
            types_a=len(a.types),
            types_b=len(b.types),
            sessions_a=a.sessions,
            sessions_b=b.sessions,
        )
