"""What each element of training contributes: attribute values against each other."""

from __future__ import annotations

from itertools import combinations
from typing import Any, Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import chance_slower, contrast, types_by_value
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.support import confounded_types, session_counts
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, unknown_name
from slackwater.model.priors import LN_2

CONTRAST: Final = "contrast"
SAME_DAYS: Final = 0.5
SAME_RULE: Final = (
    "a difference under half a day is not meaningful: readings come once a night, and two "
    "recoveries that are closer than that show on the same morning more often than not"
)


class Value(NamedTuple):
    """One value of one attribute, with the trained types that have it.

    Attributes:
        attribute: the column of types.csv.
        value: the value in it.
        types: the types trained that have it.
        days: the dates on which any of them was trained.
        sessions: how many sessions of them the readings can show.
    """

    attribute: str
    value: str
    types: list[str]
    days: set[str]
    sessions: int

    def __str__(self) -> str:
        """Return it as a person says it."""
        return f"{self.attribute} {self.value!r}"


def elements(
    now: Standing, attribute: str | None = None, level: float = DEFAULT_LEVEL
) -> xr.Dataset:
    """Answer how every attribute value differs from every other, over all types.

    Each side is the mean over the types trained that have the value, as in
    `compare_attribute`.

    Args:
        now: the state, from `standing`.
        attribute: the one column of types.csv to answer for; all if left out.
        level: credible mass of every interval.

    Returns:
        Dimension `contrast`: `attribute`, `a`, `b`; `difference_days`,
        `difference_dip_ln`, `difference_dip_percent` (points of the reading) and
        `difference_half_life_days` (each with `bound`; a minus b); `chance_a_slower`,
        `chance_a_longer` and `chance_b_longer` (by half a day or more), `chance_same`;
        `types_a`, `types_b`, `sessions_a`, `sessions_b`. Scalar `expected_misses`, of the
        ranges of days. Attributes `values`, `refused` and `entangled` (lists), `same_rule`.

    Raises:
        QuestionError: no such attribute.
        NoAnswerError: no two values can be compared.
    """
    columns = now.season.attributes
    if attribute is not None and attribute not in columns:
        raise unknown_name("attribute", attribute, columns)
    counts = session_counts(now) if n.TYPE in now.draws.coords else {}
    days = _training_days(now)
    by_column = {column: _values(now, column, counts, days) for column in columns}
    confounded = confounded_types(now)
    asked = columns if attribute is None else [attribute]
    pairs = [pair for column in asked for pair in combinations(by_column[column], 2)]
    refused = [(pair, why) for pair in pairs if (why := _inseparable(*pair, confounded))]
    kept = [pair for pair in pairs if not _inseparable(*pair, confounded)]
    if not kept:
        raise NoAnswerError(_nothing_to_compare(asked, [why for _, why in refused]))
    return answer(
        _contrasts(now, kept, level),
        "elements",
        now,
        level,
        [],
        values=[_told(value) for column in asked for value in by_column[column]],
        refused=[{**_named(*pair), "why": why} for pair, why in refused],
        entangled=_entangled(by_column, asked, kept),
        same_rule=SAME_RULE,
    )


def _training_days(now: Standing) -> dict[str, set[str]]:
    """Return the dates on which each type was trained."""
    data = now.season.observed().data
    days: dict[str, set[str]] = {}
    for date, label in zip(data[n.SESSION_DATE].values, data[n.SESSION_TYPE].values, strict=True):
        days.setdefault(str(label), set()).add(str(date)[:10])
    return days


def _values(
    now: Standing, attribute: str, counts: dict[str, int], days: dict[str, set[str]]
) -> list[Value]:
    has, _ = types_by_value(now, attribute)
    return [
        Value(
            attribute,
            value,
            types,
            set().union(*(days[t] for t in types)),
            sum(counts[t] for t in types),
        )
        for value, types in has.items()
    ]


def _inseparable(a: Value, b: Value, confounded: dict[str, str]) -> str:
    """Return why two values cannot be compared at all, or nothing."""
    for label in (*a.types, *b.types):
        if label in confounded:
            return confounded[label]
    if a.days == b.days:
        return (
            f"Types with {a} and types with {b} were always trained on the same days, so the two "
            "cannot be told apart; train them on days of their own."
        )
    return ""


def _nothing_to_compare(columns: list[str], reasons: list[str]) -> str:
    if reasons:
        return " ".join(dict.fromkeys(reasons))
    where = f"column {columns[0]!r}" if len(columns) == 1 else "any column"
    return (
        f"No two values in {where} of types.csv were trained, so there is nothing to compare. Give "
        "each type its attributes in types.csv (type, then columns such as mode or effort), fit "
        "again, and ask again."
    )


def _contrasts(now: Standing, pairs: list[tuple[Value, Value]], level: float) -> xr.Dataset:
    dips = np.exp(now.parameter(n.TYPE_LOG_DIP))
    by_type = {
        "difference_days": typical_days(now),
        "difference_dip_ln": dips,
        "difference_dip_percent": -100 * np.expm1(-dips),
        "difference_half_life_days": LN_2 / np.exp(now.parameter(n.TYPE_LOG_RATE)),
    }
    draws = {
        name: np.stack([contrast(now, values, (a.types, b.types)) for a, b in pairs], axis=1)
        for name, values in by_type.items()
    }
    days = draws["difference_days"]
    named = [_named(a, b) for a, b in pairs]
    return xr.Dataset(
        {
            **{name: interval(values, level, (CONTRAST,)) for name, values in draws.items()},
            "chance_a_slower": (CONTRAST, [chance_slower(each) for each in days.T]),
            "chance_a_longer": (CONTRAST, (days >= SAME_DAYS).mean(axis=0)),
            "chance_b_longer": (CONTRAST, (days <= -SAME_DAYS).mean(axis=0)),
            "chance_same": (CONTRAST, (np.abs(days) < SAME_DAYS).mean(axis=0)),
            "types_a": (CONTRAST, [len(a.types) for a, _ in pairs]),
            "types_b": (CONTRAST, [len(b.types) for _, b in pairs]),
            "sessions_a": (CONTRAST, [a.sessions for a, _ in pairs]),
            "sessions_b": (CONTRAST, [b.sessions for _, b in pairs]),
            **{key: (CONTRAST, [each[key] for each in named]) for key in named[0]},
            "expected_misses": len(pairs) * (1 - level),
        }
    )


def _named(a: Value, b: Value) -> dict[str, str]:
    return {"attribute": a.attribute, "a": a.value, "b": b.value}


def _told(value: Value) -> dict[str, Any]:
    return {
        "attribute": value.attribute,
        "value": value.value,
        "types": value.types,
        "sessions": value.sessions,
    }


def _entangled(
    by_column: dict[str, list[Value]], asked: list[str], kept: list[tuple[Value, Value]]
) -> list[str]:
    """Say what the contrasts cannot separate, a sentence each."""
    said = []
    twins = {
        frozenset((one, other))
        for one, other in combinations(by_column, 2)
        if _partition(by_column[one]) == _partition(by_column[other])
    }
    for pair in sorted(twins, key=sorted):
        if pair & set(asked):
            said.append(_always_together(*(by_column[c] for c in sorted(pair, key=_place(asked)))))
    said += _same_types(by_column, asked, twins)
    compared = {str(value): value for pair in kept for value in pair}
    said += [
        f"Only {value.types[0]!r} has {value}, so its contrasts are that type's, not the "
        "attribute's by itself."
        for value in compared.values()
        if len(value.types) == 1
    ]
    for a, b in kept:
        for column, values in by_column.items():
            other = {column, a.attribute}
            if column != a.attribute and frozenset(other) not in twins:
                said += _also_differ(a, b, values)
    return said


def _place(asked: list[str]) -> Any:
    return lambda column: (column not in asked, column)


def _partition(values: list[Value]) -> set[frozenset[str]]:
    """Return how a column parts the trained types; nothing where it has one value only."""
    return {frozenset(v.types) for v in values} if len(values) > 1 else {frozenset(("",))}


def _always_together(one: list[Value], other: list[Value]) -> str:
    twin = {frozenset(v.types): v.value for v in other}
    listed = ", ".join(f"{v.value!r} with {twin[frozenset(v.types)]!r}" for v in one)
    return (
        f"{one[0].attribute} and {other[0].attribute} always go together ({listed}), so each "
        "contrast of the one is also the other's; a type that mixes them would tell them apart."
    )


def _same_types(
    by_column: dict[str, list[Value]], asked: list[str], twins: set[frozenset[str]]
) -> list[str]:
    said = []
    for one, other in combinations(by_column, 2):
        if frozenset((one, other)) in twins or not {one, other} & set(asked):
            continue
        said += [
            f"{v} and {w} are the same {'types' if len(v.types) > 1 else 'type'} "
            f"({', '.join(repr(t) for t in v.types)}), so what is found of one is found of both."
            for v in by_column[one]
            for w in by_column[other]
            if v.types == w.types and len(by_column[one]) > 1 and len(by_column[other]) > 1
        ]
    return said


def _also_differ(a: Value, b: Value, values: list[Value]) -> list[str]:
    """Say where the two sides have no value of another column in common."""
    on_a = [v for v in values if set(v.types) & set(a.types)]
    on_b = [v for v in values if set(v.types) & set(b.types)]
    if not on_a or not on_b or {v.value for v in on_a} & {v.value for v in on_b}:
        return []
    left, right = (" or ".join(repr(v.value) for v in side) for side in (on_a, on_b))
    return [
        f"{a} against {b.value!r} is also {values[0].attribute} {left} against {right}: the "
        "contrast is of both at once."
    ]
