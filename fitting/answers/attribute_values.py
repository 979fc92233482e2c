"""The values of the types' attributes, and what a season cannot tell apart of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from slackwater.fitting.answers.compare import types_by_value
from slackwater.fitting.answers.support import confounded_types, session_counts, training_days
from slackwater.fitting.state.standing import Standing
from slackwater.model.errors import Reason


@dataclass(frozen=True)
class Value:
    """One value of one attribute, with the trained types that have it.

    Attributes:
        attribute: the column of types.csv.
        value: the value in it.
        types: the types trained that have it.
        sessions: how many sessions of them the readings can show.
    """

    attribute: str
    value: str
    types: tuple[str, ...]
    sessions: int


Pair = tuple[Value, Value]
ByColumn = Mapping[str, Sequence[Value]]


def values_of(now: Standing, attribute: str) -> list[Value]:
    """Return every value of an attribute that was trained."""
    counts = session_counts(now)
    has, _ = types_by_value(now, attribute)
    return [
        Value(attribute, value, tuple(types), sum(counts[t] for t in types))
        for value, types in has.items()
    ]


def inseparable(now: Standing, pairs: Iterable[Pair]) -> dict[Pair, Reason]:
    """Return the pairs of values that cannot be compared at all, and why."""
    confounded = confounded_types(now)
    days = training_days(now.season)
    why_not = {}
    for a, b in pairs:
        together = [confounded[label] for label in (*a.types, *b.types) if label in confounded]
        on_a, on_b = ({day for label in side.types for day in days[label]} for side in (a, b))
        if together:
            why_not[a, b] = together[0]
        elif on_a == on_b:
            named = {"attribute": a.attribute, "a": a.value, "b": b.value}
            why_not[a, b] = Reason("values on the same days", **named)
    return why_not


def entangled(by_column: ByColumn, asked: Sequence[str], pairs: Sequence[Pair]) -> list[Reason]:
    """Return what contrasts cannot separate.

    Args:
        by_column: the values of every attribute.
        asked: the attributes that were asked about.
        pairs: the values held against each other.
    """
    twins = {
        frozenset(columns)
        for columns in combinations(by_column, 2)
        if _partition(by_column[columns[0]]) == _partition(by_column[columns[1]])
    }
    return [
        *_always_together(by_column, asked, twins),
        *_same_types(by_column, asked, twins),
        *_one_type(pairs),
        *_also_differ(by_column, pairs, twins),
    ]


def _partition(values: Sequence[Value]) -> set[frozenset[str]]:
    """Return how a column parts the trained types; nothing where it has one value only."""
    return {frozenset(v.types) for v in values} if len(values) > 1 else {frozenset(("",))}


def _always_together(
    by_column: ByColumn, asked: Sequence[str], twins: set[frozenset[str]]
) -> Iterator[Reason]:
    for columns in sorted(twins, key=sorted):
        if columns & set(asked):
            one, other = sorted(columns, key=lambda column: (column not in asked, column))
            twin = {frozenset(v.types): v.value for v in by_column[other]}
            values = [[v.value, twin[frozenset(v.types)]] for v in by_column[one]]
            yield Reason("attributes always together", attributes=[one, other], values=values)


def _same_types(
    by_column: ByColumn, asked: Sequence[str], twins: set[frozenset[str]]
) -> Iterator[Reason]:
    for columns in combinations(by_column, 2):
        one, other = (by_column[column] for column in columns)
        apart = len(one) > 1 and len(other) > 1 and frozenset(columns) not in twins
        if not apart or not {*columns} & set(asked):
            continue
        for v in one:
            for w in other:
                if v.types == w.types:
                    named = {"attributes": [*columns], "values": [v.value, w.value]}
                    yield Reason("values of the same types", **named, types=list(v.types))


def _one_type(pairs: Sequence[Pair]) -> Iterator[Reason]:
    for value in dict.fromkeys(value for pair in pairs for value in pair):
        if len(value.types) == 1:
            named = {"attribute": value.attribute, "value": value.value}
            yield Reason("contrasts of one type", **named, type=value.types[0])


def _also_differ(
    by_column: ByColumn, pairs: Sequence[Pair], twins: set[frozenset[str]]
) -> Iterator[Reason]:
    """Yield where the two sides of a contrast have no value of another column in common."""
    for a, b in pairs:
        for column, values in by_column.items():
            if column == a.attribute or frozenset((column, a.attribute)) in twins:
                continue
            of_a, of_b = ([v.value for v in values if {*v.types} & {*x.types}] for x in (a, b))
            if of_a and of_b and not {*of_a} & {*of_b}:
                named = {"attribute": a.attribute, "a": a.value, "b": b.value}
                yield Reason("sides also differ", **named, other=column, of_a=of_a, of_b=of_b)
