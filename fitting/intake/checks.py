"""Problems that only show across rows and files: doubles, units, slips of the year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from statistics import median
from typing import Any, Final, NamedTuple

from slackwater.fitting.intake.cells import ReadingRow
from slackwater.fitting.intake.problems import Problem, show
from slackwater.fitting.intake.tables import Table, Tables

# 7 parts the two units: published RMSSD lies well above 7 ms, and ln RMSSD well below 7,
# which would be 1,097 ms.
UNIT_BOUND: Final = 7.0
FAR_APART: Final = dt.timedelta(days=3 * 365 + 1)


def problems_across(tables: Tables) -> Iterator[Problem]:
    """Yield what is wrong between rows that are each valid by themselves."""
    yield from _twice(tables.readings, ["date"], "keep one reading per night")
    yield from _twice(tables.types, ["type"], "keep one row per type")
    yield from _twice(tables.interventions, ["date", "intervention"], "keep one of the two rows")
    yield from _twice(tables.stressors, ["date", "stressor"], "keep one of the two rows")
    yield from _twice(tables.levels, ["date"], "keep one of the two rows")
    if "rmssd_ms" in tables.readings.columns:
        yield from _other_unit_as_ms(tables.readings)
    if "ln_rmssd" in tables.readings.columns:
        yield from _ms_as_ln(tables.readings)
    yield from _far_apart(tables)


def _twice(table: Table[Any], names: list[str], mend: str) -> Iterator[Problem]:
    first_line: dict[tuple[object, ...], int] = {}
    for entry in table.entries:
        key = tuple(getattr(entry.values, name) for name in names)
        if key in first_line:
            words = " ".join(show(part) if isinstance(part, str) else str(part) for part in key)
            what = f"{words} stands in line {first_line[key]} as well"
            yield table.problem(entry.line, names[0], what, mend, "twice")
        first_line.setdefault(key, entry.line)


def _other_unit_as_ms(readings: Table[ReadingRow]) -> Iterator[Problem]:
    values = readings.values("rmssd_ms")
    low = [value for value in values if value < UNIT_BOUND]
    if 2 * len(low) > len(values):
        header, number = readings.columns["rmssd_ms"]
        unit = "ln RMSSD"
        mend = "call the column ln_rmssd if it is the natural logarithm, else give milliseconds"
        if median(low) < 1:  # a logarithm of 1 is under 3 ms
            unit, mend = "seconds", "multiply the column by 1,000 if it is seconds"
        what = (
            f"{header} is under {UNIT_BOUND:g} ms in {len(low)} of {len(values)} rows, "
            f"such as {low[0]:g}: that looks like {unit}, not milliseconds"
        )
        yield Problem(readings.file, 1, number, what, mend, "unit")


def _ms_as_ln(readings: Table[ReadingRow]) -> Iterator[Problem]:
    values = readings.values("ln_rmssd")
    high = [entry for entry in readings.entries if (entry.values.ln_rmssd or 0) > UNIT_BOUND]
    if 2 * len(high) > len(values):
        header, number = readings.columns["ln_rmssd"]
        what = (
            f"{header} is above {UNIT_BOUND:g} in {len(high)} of {len(values)} rows, "
            f"such as {high[0].values.ln_rmssd:g}: that looks like milliseconds, not ln RMSSD"
        )
        mend = "call the column rmssd_ms if it is milliseconds, else give natural logarithms"
        yield Problem(readings.file, 1, number, what, mend, "unit")
        return
    for entry in high:
        what = f"{entry.values.ln_rmssd:g} is above {UNIT_BOUND:g}, which is over 1,000 ms"
        mend = "give the natural logarithm of the milliseconds"
        yield readings.problem(entry.line, "ln_rmssd", what, mend, "unit")


class _Dated(NamedTuple):
    date: dt.date
    line: int
    table: Table[Any]


def _far_apart(tables: Tables) -> Iterator[Problem]:
    """Yield a problem for each date over 3 years from where most of the dates lie."""
    dated = [
        _Dated(entry.values.date, entry.line, table)
        for table in tables.each
        if "date" in table.columns
        for entry in table.entries
    ]
    clusters: list[list[_Dated]] = []
    for row in sorted(dated, key=lambda row: row.date):
        if not clusters or row.date - clusters[-1][-1].date > FAR_APART:
            clusters.append([])
        clusters[-1].append(row)
    most: list[_Dated] = max(reversed(clusters), key=len, default=[])
    for cluster in clusters:
        if cluster is not most:
            yield from (_slip(row, most) for row in cluster)


def _slip(row: _Dated, most: list[_Dated]) -> Problem:
    span = f"{most[0].date} to {most[-1].date}"
    what = f"{row.date} lies over 3 years from the other dates of the folder ({span})"
    mend = "write the right year, or put it into a season folder of its own"
    return row.table.problem(row.line, "date", what, mend, "far apart")
