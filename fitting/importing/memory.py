"""The shapes of files that were read before, as season.toml keeps them.

    [[import]]
    headers = ["Datum", "HRV", "Training"]
    dates = "day-first"
    columns = {date = ["Datum"], rmssd = ["HRV"], type = ["Training"]}

A file with the same headers is then read in the same way, without a question.
"""

from __future__ import annotations

import codecs
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

from slackwater.fitting.importing.choices import ANSWERS, FIELDS, Choices
from slackwater.fitting.importing.entries import usual_amounts
from slackwater.fitting.importing.plan import Plan

KEY: Final = "import"
_TEXTS: Final = ("encoding", "separator", "dose")


class Shape(NamedTuple):
    """A shape of files.

    Attributes:
        headers: the headers of their sheet, in order.
        choices: how they are read.
    """

    headers: tuple[str, ...]
    choices: Choices


def shapes(kept: Iterable[Mapping[str, Any]]) -> list[Shape]:
    """Return the shapes that season.toml keeps; those that are none are passed over."""
    return [shape for each in kept if (shape := _shape(each))]


def shape_of(plan: Plan, encoding: str | None, separator: str | None) -> Shape:
    """Return the shape of a sheet that was understood, and how it was.

    Args:
        plan: how it was understood.
        encoding: of a text, its encoding.
        separator: of a text, what parts its fields.
    """
    columns: dict[str, tuple[str, ...]] = {}
    for use in plan.uses:
        if use.field in FIELDS:
            columns[use.field] = (*columns.get(use.field, ()), use.header.text)
    kept = replace(
        plan.choices,
        encoding=encoding,
        separator=separator,
        sheets=(),
        columns=columns,
        dates=plan.order if plan.ordered or plan.order.startswith("days") else None,
        decimal=plan.decimal if plan.pointed else None,
        unit=plan.unit if plan.reading else None,
        usual=usual_amounts(plan),
        twice=None,
    )
    return Shape(tuple(header.text for header in plan.layout.headers), kept)


def remembering(content: bytes, kept: Sequence[Shape]) -> bytes:
    """Return season.toml with shapes in it, all else as it stands.

    Args:
        content: what it holds; empty where there is none.
        kept: the shapes; one with the same headers is replaced.
    """
    import tomlkit

    document = tomlkit.parse(content.decode())
    if KEY not in document:
        document[KEY] = tomlkit.aot()
    tables: Any = document[KEY]
    for shape in kept:
        table = tomlkit.table()
        for name, value in _as_toml(shape).items():
            table.add(name, value)
        same = [n for n, each in enumerate(tables) if _headers(each) == shape.headers]
        if same:
            tables[same[0]] = table
        else:
            tables.append(table)
    text = tomlkit.dumps(document)
    return (text if text.endswith("\n") else f"{text}\n").encode()


def _as_toml(shape: Shape) -> dict[str, Any]:
    import tomlkit

    told: dict[str, Any] = {"headers": list(shape.headers)}
    for name, value in vars(shape.choices).items():
        if not value:
            continue
        if isinstance(value, Mapping):
            inline = tomlkit.inline_table()
            for key, held in value.items():
                inline.add(key, list(held) if isinstance(held, tuple) else held)
            told[name] = inline
        else:
            told[name] = value
    return told


def _headers(kept: Mapping[str, Any]) -> tuple[str, ...] | None:
    headers = kept.get("headers")
    if not isinstance(headers, list) or not all(isinstance(h, str) for h in headers):
        return None
    return tuple(map(str, headers))


def _shape(kept: Mapping[str, Any]) -> Shape | None:
    headers = _headers(kept)
    known = {"headers", "columns", "usual", *_TEXTS, *ANSWERS}
    columns, usual = kept.get("columns", {}), kept.get("usual", {})
    right = (
        headers is not None
        and set(kept) <= known
        and isinstance(columns, dict)
        and all(f in FIELDS and _headers({"headers": h}) is not None for f, h in columns.items())
        and all(header in headers for those in columns.values() for header in those)
        and isinstance(usual, dict)
        and all(type(u) in (int, float) and math.isfinite(u) and u > 0 for u in usual.values())
        and all(isinstance(kept.get(name, ""), str) for name in _TEXTS)
        and all(kept[name] in answers for name, answers in ANSWERS.items() if name in kept)
        and _is_encoding(kept.get("encoding", "utf-8"))
        and len(kept.get("separator", ",")) == 1
    )
    if not right or headers is None:
        return None
    given = {name: kept[name] for name in kept if name not in ("headers", "columns")}
    return Shape(
        headers, Choices(**given, columns={name: tuple(held) for name, held in columns.items()})
    )


def _is_encoding(name: str) -> bool:
    try:
        return codecs.lookup(name).name not in ("idna", "punycode")
    except LookupError:
        return False
