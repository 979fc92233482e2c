"""Rows held against those that a season has: what is new, what is the same, what differs."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from slackwater.fitting.importing.choices import Answer, Question
from slackwater.fitting.importing.entries import Entry, Value
from slackwater.fitting.intake.tables import Tables


class Conflict(NamedTuple):
    """A row that says something else than the season.

    Attributes:
        entry: what the file says.
        column: the column in which they differ.
        there: what the season has.
        line: the line of the season's file.
    """

    entry: Entry
    column: str
    there: Value
    line: int


@dataclass
class Merged:
    """What an import does to a season.

    Attributes:
        added: the new rows.
        same: how many are there already, by file.
        conflicts: the rows that say something else.
    """

    added: list[Entry] = field(default_factory=list)
    same: Counter[str] = field(default_factory=Counter)
    conflicts: list[Conflict] = field(default_factory=list)


class _There(NamedTuple):
    values: Mapping[str, Any]
    line: int


def once(rows: Sequence[Entry], twice: str | None) -> tuple[list[Entry], Question | None]:
    """Return the rows with one reading a night, or ask which of two counts.

    Sessions may be as many as there are; a measure or stressor counts once a day.
    """
    kept: list[Entry] = []
    at: dict[tuple[str, tuple[Value, ...]], int] = {}
    for row in rows:
        key = (row.file, row.key)
        if row.file == "sessions" or key not in at:
            at[key] = len(kept)
            kept.append(row)
            continue
        other = kept[at[key]]
        if row.file != "readings" or _alike(row, float(str(other.cells["rmssd_ms"])), other.within):
            continue
        if twice is None:
            values = [f"{r.cells['rmssd_ms']:g}" for r in (other, row)]
            answers = [Answer("first", values[0]), Answer("last", values[1])]
            return kept, Question("twice", str(row.cells["date"]), "", answers, row.sheet)
        if twice == "last":
            kept[at[key]] = row
    return kept, None


def merge(rows: Iterable[Entry], tables: Tables) -> Merged:
    """Return what rows add to a season, and where they differ from it.

    Args:
        rows: the rows, one a night of readings.
        tables: the season's rows.
    """
    there = _by_key(tables)
    merged = Merged()
    for row in rows:
        standing = there[row.file, row.key]
        if not standing:
            merged.added.append(row)
            continue
        known = standing.pop(0) if row.file == "sessions" else standing[0]
        conflict = _differs(row, known)
        if conflict:
            merged.conflicts.append(conflict)
        else:
            merged.same[row.file] += 1
    return merged


def _by_key(tables: Tables) -> defaultdict[tuple[str, tuple[Value, ...]], list[_There]]:
    there: defaultdict[tuple[str, tuple[Value, ...]], list[_There]] = defaultdict(list)
    for name in ("readings", "sessions", "interventions", "stressors"):
        for entry in getattr(tables, name).entries:
            values = vars(entry.values)
            row = Entry(name, values, "", entry.line)
            there[name, row.key].append(_There(values, entry.line))
    return there


def _differs(row: Entry, known: _There) -> Conflict | None:
    if row.file == "readings":
        stands: float = (
            known.values["rmssd_ms"]
            if known.values["rmssd_ms"] is not None
            else math.exp(known.values["ln_rmssd"])
        )
        if not _alike(row, stands, _rounded(stands, known.values["rmssd_ms"] is None)):
            return Conflict(row, "rmssd_ms", round(stands, 4), known.line)
    if row.file == "sessions" and "dose" in row.cells:
        stands = known.values["dose"]
        if not math.isclose(float(str(row.cells["dose"])), stands, abs_tol=0.005):
            return Conflict(row, "dose", stands, known.line)
    return None


def _alike(row: Entry, value: float, within: float) -> bool:
    """Say whether a reading is a value, as far as both were rounded."""
    return abs(float(str(row.cells["rmssd_ms"])) - value) <= max(row.within, within) * (1 + 1e-6)


def _rounded(value: float, from_ln: bool) -> float:
    """Return by how much a season's reading may differ as it was rounded."""
    if from_ln:
        return value * 0.0005
    digits = len(repr(value).partition(".")[2].rstrip("0"))
    return float(0.5 * 10.0**-digits)


def replacing(conflicts: Iterable[Conflict]) -> list[Entry]:
    """Return the rows that take the place of the season's, with just what differs."""
    rows = []
    for entry, column, _, _ in conflicts:
        keys = ("date", "type") if entry.file == "sessions" else ("date",)
        rows.append(replace(entry, cells={name: entry.cells[name] for name in (*keys, column)}))
    return rows


def span(rows: Sequence[Entry]) -> tuple[dt.date, dt.date] | None:
    """Return the first and the last date of rows, None where there are none."""
    dates = [date for row in rows if isinstance(date := row.cells["date"], dt.date)]
    return (min(dates), max(dates)) if dates else None
