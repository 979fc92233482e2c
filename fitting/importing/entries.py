"""A season's rows, made of a sheet's by how it is understood."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Final

from slackwater.fitting.importing.cells import Cell, Row, words_of
from slackwater.fitting.importing.columns import LABELS, Use, said_yes
from slackwater.fitting.importing.dates import moment
from slackwater.fitting.importing.numbers import amount, missing
from slackwater.fitting.importing.plan import EVENING, Plan
from slackwater.fitting.importing.words import REST, folded
from slackwater.fitting.intake.problems import Problem, has_control, show
from slackwater.fitting.text import neutral

FILES: Final = {"type": "sessions", "intervention": "interventions", "stressor": "stressors"}
MOST_OF_A_LABEL: Final = 100  # characters
_SEVERAL: Final = re.compile(r"\s*[;,\n]\s*")
_DAY: Final = dt.timedelta(days=1)

Value = str | float | dt.date


@dataclass(frozen=True)
class Entry:
    """One row of a season's file.

    Attributes:
        file: the file's name without `.csv`.
        cells: our column name -> what it holds; readings are in ms.
        sheet: the sheet that it comes from.
        row: its row there.
        within: of a reading, by how much (ms) it may differ as it was rounded.
    """

    file: str
    cells: Mapping[str, Value]
    sheet: str
    row: int
    within: float = 0.0

    @property
    def key(self) -> tuple[Value, ...]:
        """What makes two rows of a file the same."""
        label = {"sessions": "type", "interventions": "intervention", "stressors": "stressor"}
        date = self.cells["date"]
        return (date, self.cells[label[self.file]]) if self.file in label else (date,)


@dataclass
class Entries:
    """What a sheet gives.

    Attributes:
        rows: the rows, in its order.
        problems: the cells that cannot be read.
        rests: how many sessions were none, as their cells say that it was a day of rest.
        zeros: row numbers of readings of 0 or less, which are none.
        split: how many cells named several measures or stressors.
    """

    rows: list[Entry] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    rests: int = 0
    zeros: list[int] = field(default_factory=list)
    split: int = 0


def entries(plan: Plan, file: str) -> Entries:
    """Return what a sheet gives, once no question of it is open.

    Args:
        plan: how the sheet is understood.
        file: the file's name, for messages.
    """
    made = Entries()
    assert plan.date is not None
    where = f"{file}, {plan.layout.sheet}" if plan.layout.sheet else file
    usual = usual_amounts(plan)
    for row, day, hour in _dated(plan, made, where):
        reading = _reading(plan, row, _morning(plan, day, hour), made, where)
        sessions = [*_labelled(plan, row, day, made, where, usual)]
        note = "; ".join(
            words_of(row.at(use.column)) for use in plan.columns("note") if row.at(use.column)
        )
        found = ([reading] if reading else []) + sessions
        if note and found and found[0].file in ("readings", "sessions"):
            cells = {**found[0].cells, "note": neutral(note)}
            first = found[0]
            found[0] = Entry(first.file, cells, first.sheet, first.row, first.within)
        made.rows += found
    return made


def usual_amounts(plan: Plan) -> dict[str, float]:
    """Return what is dose 1 of each type: as remembered, else the middle of this sheet."""
    if plan.dosed_by is None:
        return {}
    held: defaultdict[str, list[float]] = defaultdict(list)
    for use in plan.columns("type"):
        for row in plan.days.rows:
            label = _label_of(use, row.at(use.column))
            found = amount(row.at(plan.dosed_by.column), plan.decimal)
            if label and found and found.value > 0:
                held[label].append(found.value)
    return {label: median(each) for label, each in held.items()} | dict(plan.choices.usual)


def _dated(plan: Plan, made: Entries, where: str) -> Iterator[tuple[Row, dt.date, int | None]]:
    """Yield the rows with their dates; those without one by what was chosen for them."""
    assert plan.date is not None
    column = plan.date.column
    undated = {row.number for row in plan.days.undated}
    above: dt.date | None = None
    for row in sorted([*plan.days.rows, *plan.days.undated], key=lambda row: row.number):
        if row.number in undated:
            if above and plan.choices.undated == "above":
                yield row, above, None
            continue
        found = moment(row.at(column), plan.order)
        if found is None:
            what = (
                f"{plan.date.header.text} {show(words_of(row.at(column)))} is no date as the others"
            )
            mend = "write it as they are, such as 2031-05-04, or empty the row"
            made.problems.append(Problem(where, row.number, column + 1, what, mend, "date"))
            continue
        above = found.day
        yield row, found.day, found.hour


def _morning(plan: Plan, day: dt.date, hour: int | None) -> dt.date:
    """Return the date of the morning on which a night ended."""
    began = plan.choices.evening == "evening" and (hour or 0) >= EVENING
    return day + _DAY if began else day


def _reading(plan: Plan, row: Row, day: dt.date, made: Entries, where: str) -> Entry | None:
    use = plan.reading
    if use is None or missing(row.at(use.column)):
        return None
    cell = row.at(use.column)
    found = amount(cell, plan.decimal)
    if found is None or not math.isfinite(found.value):
        what = f"{use.header.text} {show(words_of(cell))} is not a number"
        mend = "write the reading as a number, or empty the cell"
        made.problems.append(Problem(where, row.number, use.column + 1, what, mend, "number"))
        return None
    if found.value <= 0:
        made.zeros.append(row.number)
        return None
    step = 0.5 * 10.0 ** -_digits(words_of(cell), plan.decimal)
    value, within = found.value, step
    if plan.unit == "s":
        value, within = round(1000 * value, 6), 1000 * step
    elif plan.unit == "ln":
        if found.value > 20:
            what = f"{use.header.text} {show(words_of(cell))} is no logarithm of milliseconds"
            mend = "see whether the column holds milliseconds"
            made.problems.append(Problem(where, row.number, use.column + 1, what, mend, "ln"))
            return None
        value = round(math.exp(value), 6)
        within = value * step
    cells: dict[str, Value] = {"date": day, "rmssd_ms": value}
    for sensor in plan.columns("sensor"):
        if not missing(row.at(sensor.column)):
            cells["sensor"] = neutral(words_of(row.at(sensor.column)))
    return Entry("readings", cells, plan.layout.sheet, row.number, within)


def _digits(text: str, decimal: str) -> int:
    """Return how many digits stand behind the decimal mark."""
    found = re.search(rf"[{decimal}.](\d+)", text)
    return min(len(found[1]), 6) if found else 0


def _labelled(
    plan: Plan, row: Row, day: dt.date, made: Entries, where: str, usual: Mapping[str, float]
) -> Iterator[Entry]:
    """Yield the sessions, measures and stressors of a row."""
    doses = [use for use in plan.columns("dose") if plan.dosed_by is None]
    types = plan.columns("type")
    for use in plan.columns(*LABELS):
        cell = row.at(use.column)
        labels = [label] if (label := _label_of(use, cell)) else []
        if use.field == "type":
            made.rests += bool(not labels and not missing(cell) and not use.flag)
        elif not use.flag and labels and len(parts := _SEVERAL.split(labels[0])) > 1:
            labels = [part for part in parts if part]
            made.split += 1
        for each in dict.fromkeys(labels):
            if has_control(each) or len(each) > MOST_OF_A_LABEL:
                what = f"{use.header.text} {show(each)} is no name"
                mend = f"name it in one line of at most {MOST_OF_A_LABEL} characters"
                made.problems.append(Problem(where, row.number, use.column + 1, what, mend, "name"))
                continue
            cells: dict[str, Value] = {"date": day, use.field: neutral(each)}
            if use.field == "type":
                cells |= _dose(plan, row, use, types, doses, usual.get(each), made, where)
            yield Entry(FILES[use.field], cells, plan.layout.sheet, row.number)


def _dose(
    plan: Plan, row: Row, use: Use, types: Sequence[Use], doses: Sequence[Use],
    usual: float | None, made: Entries, where: str,
) -> dict[str, Value]:  # fmt: skip
    by = plan.dosed_by
    if by is None:
        # With several sessions a row, each one's dose is the nearest column to its right.
        own = [dose for dose in doses if len(types) == 1 or dose.column > use.column]
        by = own[0] if own else None
    if by is None or missing(row.at(by.column)):
        return {}
    found = amount(row.at(by.column), plan.decimal)
    if found is None:
        what = f"{by.header.text} {show(words_of(row.at(by.column)))} is not a number"
        mend = "write a number, or empty the cell"
        made.problems.append(Problem(where, row.number, by.column + 1, what, mend, "dose"))
        return {}
    if found.value <= 0:
        return {}
    value = found.value if plan.dosed_by is None else found.value / (usual or found.value)
    return {} if value == 1 else {"dose": round(value, 4)}


def _label_of(use: Use, cell: Cell) -> str:
    """Return the label that a cell of a column gives, empty for none."""
    if missing(cell):
        return ""
    if use.flag:
        return use.header.text.strip() if said_yes(cell) else ""
    label = " ".join(words_of(cell).split(" "))
    return "" if use.field == "type" and folded(label) in REST else label


def counted(rows: Sequence[Entry]) -> dict[str, int]:
    """Return how many rows there are of each file."""
    return dict(Counter(row.file for row in rows))
