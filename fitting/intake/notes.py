"""What is allowed in a season folder, yet worth saying."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from math import exp, log, log10
from statistics import median
from typing import Any, Final

import numpy as np

from slackwater.fitting.intake.cells import ReadingRow
from slackwater.fitting.intake.checks import UNIT_BOUND
from slackwater.fitting.intake.problems import Note, at_lines, show
from slackwater.fitting.intake.tables import Entry, Table, Tables
from slackwater.model.errors import nearest
from slackwater.model.season import DAY, THE_SENSOR, Season

# A single dip reaches about half the RMSSD, a factor of 2; no source for the bounds below,
# which only have to lie well beyond what a body does.
FAR_DOSE: Final = 5.0
_ALIKE_ENOUGH: Final = 0.85  # 'session.csv' and 'readings (1).csv' are, 'rest.csv' is not


def notes_on_names(names: Iterable[str], known: list[str]) -> Iterator[Note]:
    """Yield a note for each file in the folder that looks like a misspelt season file."""
    for name in sorted(names):
        close = nearest(name, known, _ALIKE_ENOUGH)
        if name not in known and close and name.isprintable():
            yield Note(name, None, f"this file is not read; a season has {show(close)}")


def notes_on(tables: Tables, season: Season) -> Iterator[Note]:
    """Yield what is worth saying about a season that was read without a problem."""
    yield from _on_nights(season)
    yield from _on_values(tables.readings)
    yield from _on_sensors(tables.readings)
    yield from _on_doses(tables)
    yield from _on_types(tables)
    for table in (tables.sessions, tables.interventions, tables.stressors):
        yield from _on_unseen_days(table, season)


def _on_nights(season: Season) -> Iterator[Note]:
    read = np.flatnonzero(season.read)
    nights = season.last_night - season.nights[read[0]]
    missing = int(nights / DAY) + 1 - len(read)
    if missing:
        have = "has" if missing == 1 else "have"
        text = f"{missing} of {missing + len(read)} nights {have} no reading, which is allowed"
        yield Note("readings.csv", None, text)


def _on_values(readings: Table[ReadingRow]) -> Iterator[Note]:
    logs = {
        entry.line: log(entry.values.rmssd_ms)
        if entry.values.rmssd_ms is not None
        else entry.values.ln_rmssd or 0.0
        for entry in readings.entries
    }
    middle = median(logs.values())
    if "ln_rmssd" in readings.columns and middle < log(UNIT_BOUND):
        text = (
            f"ln_rmssd is {middle:.2f} in the middle, which is {exp(middle):.1f} ms; if these are "
            f"logarithms to base 10 ({10**middle:.0f} ms), multiply them by {1 / log10(exp(1)):.6f}"
        )
        yield Note(readings.file, 1, text)


def _on_sensors(readings: Table[ReadingRow]) -> Iterator[Note]:
    unnamed = [entry.line for entry in readings.entries if not entry.values.sensor]
    if unnamed and len(unnamed) < len(readings.entries):
        text = f"no sensor is named in {at_lines(unnamed)}; taken as one of its own, {THE_SENSOR!r}"
        yield Note(readings.file, unnamed[0], text)


def _on_doses(tables: Tables) -> Iterator[Note]:
    doses: defaultdict[str, list[float]] = defaultdict(list)
    first_line: dict[str, int] = {}
    for entry in tables.sessions.entries:
        doses[entry.values.type].append(entry.values.dose)
        first_line.setdefault(entry.values.type, entry.line)
    for label, values in doses.items():
        middle = median(values)
        if abs(log(middle)) > log(FAR_DOSE):
            text = (
                f"the middle dose of {show(label)} is {middle:g}; dose is relative, "
                f"1 = that type's usual session (divide its doses by the usual one)"
            )
            yield Note(tables.sessions.file, first_line[label], text)


def _on_types(tables: Tables) -> Iterator[Note]:
    sessions, types = tables.sessions, tables.types
    trained = Counter(sessions.values("type"))
    if not trained:
        text = "no session is logged, so days to recover cannot be learnt"
        yield Note(sessions.file, None, text)
    for entry in types.entries:
        if entry.values.type not in trained:
            text = f"the type {show(entry.values.type)} has no session in sessions.csv"
            yield Note(types.file, entry.line, text)
    if types.columns:
        described = set(types.values("type"))
        for label, entry in _first_of_each(sessions, "type").items():
            if label not in described:
                count = _count(trained[label], "session")
                text = f"the type {show(label)} ({count}) has no row in types.csv"
                yield Note(sessions.file, entry.line, text)


def _on_unseen_days(table: Table[Any], season: Season) -> Iterator[Note]:
    """Yield notes on days that act before the season's first night or after its last."""
    early, late, lead_in = [], [], []
    first_reading = season.nights[season.read][0]
    for entry in table.entries:
        night = np.datetime64(entry.values.date) + DAY
        if night < season.first_night:
            early.append(entry.line)
        elif night < first_reading:
            lead_in.append(entry.line)
        elif night > season.last_night:
            late.append(entry.line)
    first, last = _iso(first_reading), _iso(season.last_night)
    if early:
        text = f"dated too long before the first reading ({first}) to be of use"
        yield Note(table.file, early[0], f"{text}: {at_lines(early)}")
    if lead_in:
        text = f"dated before the first reading ({first}), so the nights between are unread"
        yield Note(table.file, lead_in[0], f"{text}: {at_lines(lead_in)}")
    if late:
        text = f"dated on or after the last reading ({last}), so no reading shows it yet"
        yield Note(table.file, late[0], f"{text}: {at_lines(late)}")


def _first_of_each(table: Table[Any], name: str) -> dict[str, Entry[Any]]:
    first: dict[str, Entry[Any]] = {}
    for label, entry in zip(table.values(name), table.entries, strict=True):
        first.setdefault(label, entry)
    return first


def _iso(day: np.datetime64) -> str:
    return dt.date.isoformat(day.astype("datetime64[D]").item())


def _count(number: int, what: str) -> str:
    return f"1 {what}" if number == 1 else f"{number} {what}s"
