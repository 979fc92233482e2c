"""How one sheet is understood: its columns, its dates, its numbers, and what must be asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final

from slackwater.fitting.importing.cells import Cell, Row, Sheet, words_of
from slackwater.fitting.importing.choices import LEAVE, Answer, Choices, Question, Unit
from slackwater.fitting.importing.columns import LABELS, Use, uses
from slackwater.fitting.importing.dates import ORDERS, Order, moment, orders
from slackwater.fitting.importing.layout import Days, Layout, days, part
from slackwater.fitting.importing.numbers import DECIMALS, Decimal, amount, decimals, missing
from slackwater.fitting.intake.checks import UNIT_BOUND

EVENING: Final = 15  # o'clock; a night that is dated later was dated when it began
_MOST_SECONDS: Final = 0.5  # RMSSD in seconds lies under it, ln RMSSD and milliseconds above
_LEAST_LN: Final = 2.0  # ln RMSSD of 7 ms is 1.95; under it a logarithm to base 10 is as likely
_MOST_MS: Final = 1000.0
_USUAL_DOSES: Final = (0.2, 5.0)  # a dose is relative; the middle one lies far inside


@dataclass(frozen=True)
class Plan:
    """How one sheet is understood.

    Attributes:
        layout: where its header and its rows are.
        uses: what each column is used for.
        days: its rows by what they are; none before the column of dates is known.
        order: the order of day and month.
        ordered: whether a cell needs that order.
        decimal: the decimal mark.
        pointed: whether a cell needs that mark.
        unit: the unit of its readings.
        choices: what was chosen or remembered for it.
        questions: what must be chosen before it can be read.
    """

    layout: Layout
    uses: Sequence[Use]
    days: Days
    order: Order
    ordered: bool
    decimal: Decimal
    pointed: bool
    unit: Unit
    choices: Choices
    questions: Sequence[Question]

    def columns(self, *fields: str) -> list[Use]:
        """Return the columns that are used for any of some fields."""
        return [use for use in self.uses if use.field in fields]

    @property
    def date(self) -> Use | None:
        """The column of dates, None where it is not known yet."""
        found = self.columns("date")
        return found[0] if len(found) == 1 else None

    @property
    def reading(self) -> Use | None:
        """The column of readings."""
        found = self.columns("rmssd")
        return found[0] if found else None

    @property
    def dosed_by(self) -> Use | None:
        """The column that doses are made from by each type's usual."""
        among = self.columns("amount", "dose")
        return next((use for use in among if use.header.text == self.choices.dose), None)

    @property
    def understood(self) -> bool:
        """Whether it holds anything of a season."""
        return bool(self.columns("rmssd", *LABELS))


def plan_sheet(sheet: Sheet, choices: Choices, known: Mapping[str, Iterable[str]]) -> Plan:
    """Return how a sheet is understood.

    Args:
        sheet: the sheet.
        choices: what was chosen or remembered for it.
        known: field -> the season's labels of it.

    Raises:
        QuestionError: a chosen header is not there.
    """
    layout = part(sheet)
    used, asked = uses(layout, choices, known)
    dates = [use for use in used if use.field == "date"]
    found = days(layout, dates[0].column) if len(dates) == 1 else Days()
    cells = [row.at(dates[0].column) for row in found.rows] if len(dates) == 1 else []
    possible = orders(cells)
    order: Order = choices.dates or (possible[0] if possible else "day-first")
    if len(possible) > 1 and not choices.dates:
        asked.append(_which_order(cells, possible, sheet.name))
    numbers = [
        row.at(use.column) for use in used if use.field in ("rmssd", "dose", "amount")
        for row in found.rows
    ]  # fmt: skip
    readings = [row.at(use.column) for use in used if use.field == "rmssd" for row in found.rows]
    marks = [mark for mark in decimals(numbers) if _likely(readings, mark)] or decimals(numbers)
    decimal = choices.decimal or marks[0]
    if len(marks) > 1 and not choices.decimal:
        asked.append(_which_decimal(numbers, sheet.name))
    plan = Plan(
        layout, used, found, order, len({*_moments(cells)}) > 1, decimal,
        any(amount(c, ".") != amount(c, ",") for c in numbers), "ms", choices, asked,
    )  # fmt: skip
    return _with_unit(_with_doses(_with_times(plan, found)), readings)


def _moments(cells: Sequence[Cell]) -> Iterable[tuple[object, ...]]:
    for order in ORDERS[:3]:
        yield tuple(moment(cell, order) for cell in cells)


def _which_order(cells: Sequence[Cell], possible: Sequence[Order], sheet: str) -> Question:
    differs = [c for c in cells if len({m and m.day for m in (moment(c, o) for o in possible)}) > 1]
    cell = differs[0]
    answers = [Answer(o, str(m.day)) for o in possible if (m := moment(cell, o))]
    return Question("dates", "date", words_of(cell), answers, sheet)


def _which_decimal(numbers: Sequence[Cell], sheet: str) -> Question:
    cell = next(c for c in numbers if amount(c, ".") != amount(c, ","))
    answers = [Answer(m, f"{a.value:g}") for m in DECIMALS if (a := amount(cell, m))]
    return Question("decimal", "", words_of(cell), answers, sheet)


def _likely(readings: Sequence[Cell], mark: Decimal) -> bool:
    """Say whether readings by a decimal mark are in no case over 1,000 ms in the middle."""
    values = [a.value for cell in readings if (a := amount(cell, mark))]
    return not values or median(values) <= _MOST_MS


def _with_times(plan: Plan, found: Days) -> Plan:
    asked = list(plan.questions)
    sheet = plan.layout.sheet
    date, reading = plan.date, plan.reading
    if date and reading and not plan.choices.evening:
        for row in found.rows:
            at = moment(row.at(date.column), plan.order)
            if at and (at.hour or 0) >= EVENING and not missing(row.at(reading.column)):
                answers = [Answer("evening"), Answer("morning")]
                cell = words_of(row.at(date.column))
                asked.append(Question("evening", date.header.text, cell, answers, sheet))
                break
    lost = _first_with_labels(plan, found.undated)
    if lost and not plan.choices.undated:
        answers = [Answer("above"), Answer(LEAVE)]
        asked.append(Question("undated", "", str(lost.number), answers, sheet))
    return _but(plan, questions=asked)


def _first_with_labels(plan: Plan, rows: Sequence[Row]) -> Row | None:
    used = [use.column for use in plan.columns("rmssd", *LABELS)]
    return next((row for row in rows if any(not missing(row.at(c)) for c in used)), None)


def _with_doses(plan: Plan) -> Plan:
    amounts, doses = plan.columns("amount"), plan.columns("dose")
    if not plan.columns("type") or plan.choices.dose or plan.choices.columns.get("dose"):
        return plan
    if doses:
        low, high = _USUAL_DOSES
        cells = [row.at(use.column) for use in doses for row in plan.days.rows]
        values = [a.value for cell in cells if (a := amount(cell, plan.decimal)) and a.value > 0]
        if not values or low <= median(values) <= high:
            return plan
        amounts = doses
    if not amounts:
        return plan
    answers = [*(Answer(use.header.text) for use in amounts), Answer(LEAVE)]
    asked = Question("dose", amounts[0].header.text, "", answers, plan.layout.sheet)
    return _but(plan, questions=[*plan.questions, asked])


def _with_unit(plan: Plan, readings: Sequence[Cell]) -> Plan:
    if plan.choices.unit:
        return _but(plan, unit=plan.choices.unit)
    found = [a for cell in readings if (a := amount(cell, plan.decimal))]
    if plan.reading is None or not found:
        return plan
    said = {plan.reading.header.unit, *(a.unit for a in found)} & {"ms", "s", "ln"}
    middle = median(a.value for a in found)
    by_value = _units(middle)
    likely = [unit for unit in by_value if unit in said] if said else by_value
    if len(likely) == 1:
        return _but(plan, unit=likely[0])
    answers = [Answer(unit) for unit in (likely or ("ms", "s", "ln"))]
    asked = Question("unit", plan.reading.header.text, f"{middle:.4g}", answers, plan.layout.sheet)
    return _but(plan, questions=[*plan.questions, asked])


def _units(middle: float) -> list[Unit]:
    """Return the units in which a middle reading can be, the likeliest first."""
    if middle <= _MOST_SECONDS:
        return ["s"]
    if middle >= UNIT_BOUND:
        return ["ms"]
    return ["ln", "ms"] if middle >= _LEAST_LN else ["ms", "ln"]


def _but(plan: Plan, **changed: object) -> Plan:
    return replace(plan, **changed)  # type: ignore[arg-type]
