"""What each column of a sheet may hold, by its header and its cells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from slackwater.fitting.importing.cells import Cell, words_of
from slackwater.fitting.importing.choices import LEAVE, Answer, Choices, Question
from slackwater.fitting.importing.layout import Header, Layout
from slackwater.fitting.importing.numbers import DECIMALS, amount, missing
from slackwater.fitting.importing.words import (
    FLAGS,
    HEADERS,
    LIKELY_RMSSD,
    NO,
    NO_READING,
    REST,
    RMSSD,
    YES,
    folded,
)
from slackwater.model.errors import QuestionError, nearest

LABELS: Final = ("type", "intervention", "stressor")
_MANY: Final = {"note", "type", "intervention", "stressor", "leave"}


class Use(NamedTuple):
    """What one column is used for.

    Attributes:
        column: its number, counted from 0.
        header: its header.
        field: what it holds, one of `FIELDS`, or "amount"; empty where it is left aside.
        flag: whether its cells say yes or no to what the header names.
        likely: whether the header names something that is often, not always, this field.
    """

    column: int
    header: Header
    field: str
    flag: bool = False
    likely: bool = False


def uses(
    layout: Layout, choices: Choices, known: Mapping[str, Iterable[str]]
) -> tuple[list[Use], list[Question]]:
    """Return what each column is used for, and what must be asked of them.

    Args:
        layout: the sheet.
        choices: what was chosen.
        known: field -> the season's labels of it, as headers of columns of yes and no.

    Raises:
        QuestionError: a chosen header is not there.
    """
    chosen = _chosen(layout, choices)
    found = [
        _use(layout, column, header, chosen, known) for column, header in enumerate(layout.headers)
    ]
    found, asked = _one_date(layout, found, chosen)
    found, more = _one_reading(layout, found, choices)
    asked += more
    for field in ("sensor", "dose"):
        found, more = _one(found, field, choices, layout.sheet)
        asked += more
    return found, asked


def said_yes(cell: Cell) -> bool:
    """Say whether a cell of a column of yes and no says yes."""
    number = amount(cell, ".")
    if isinstance(cell, bool) or number:
        return bool(cell if isinstance(cell, bool) else number and number.value > 0)
    return not missing(cell) and folded(words_of(cell)) not in NO


def _chosen(layout: Layout, choices: Choices) -> dict[int, str]:
    """Return the columns that were chosen by their headers."""
    texts = [header.text for header in layout.headers]
    chosen = {}
    for field, headers in choices.columns.items():
        for wanted in headers:
            if wanted not in texts:
                like = nearest(wanted, texts)
                hint = f" Did you mean {like!r}?" if like else ""
                shown = ", ".join(map(repr, texts[:30]))
                raise QuestionError(f"There is no column {wanted!r}. The file has {shown}.{hint}")
            chosen[texts.index(wanted)] = field
    return chosen


def _use(
    layout: Layout,
    column: int,
    header: Header,
    chosen: Mapping[int, str],
    known: Mapping[str, Iterable[str]],
) -> Use:
    cells = [cell for cell in layout.column(column) if not missing(cell)]
    plain = Use(column, header, "")
    if column in chosen:
        field = chosen[column]
        flag = field in LABELS and (
            _yes_and_no(cells) or _numeric(cells) or header.words in FLAGS.get(field, ())
        )
        return plain if field == LEAVE else Use(column, header, field, flag)
    if not cells:
        return plain
    if column in layout.dated and not layout.line:
        return Use(column, header, "date")
    base = re.sub(r" ?\d{1,2}$", "", header.words)
    for field, labels in known.items():
        if header.words in {folded(label) for label in labels} and field in LABELS:
            return Use(column, header, field, flag=True)
    if RMSSD.search(header.words) or header.words in LIKELY_RMSSD:
        likely = not RMSSD.search(header.words) or bool(NO_READING.search(header.words))
        return Use(column, header, "rmssd", likely=likely) if _numeric(cells) else plain
    for field, words in HEADERS.items():
        if header.words in words or (field in LABELS and base in words):
            return _fitting(plain, field, cells, layout)
    for field, words in FLAGS.items():
        if header.words in words:
            return Use(column, header, field, flag=True)
    return plain


def _fitting(plain: Use, field: str, cells: Sequence[Cell], layout: Layout) -> Use:
    """Return a column's use where its cells fit its header; left aside where they do not."""
    if field in LABELS:
        if _yes_and_no(cells):
            return plain._replace(field=field, flag=True)
        return plain if _numeric(cells) else plain._replace(field=field)
    if field == "date":
        is_date = plain.column in layout.dated or plain.column in layout.numbered
        return plain._replace(field=field) if is_date else plain
    if field in ("dose", "amount"):
        return plain._replace(field=field) if _numeric(cells) else plain
    return plain._replace(field=field)


def _one_date(
    layout: Layout, found: list[Use], chosen: Mapping[int, str]
) -> tuple[list[Use], list[Question]]:
    """Return the uses with one column of dates, or ask which it is."""
    dates = [use for use in found if use.field == "date"]
    if len(dates) > 1:
        told = [use for use in dates if use.column in chosen]
        plainly = [use for use in dates if use.header.words.split(" ")[-1] not in _STARTS]
        dates = told or (plainly if len(plainly) == 1 else dates)
    if not dates:
        named = [*layout.dated, *layout.numbered]
        if len(named) == 1:
            dates = [found[named[0]]._replace(field="date", flag=False)]
        else:
            among = [found[c] for c in named]
            return found, [_which("date", among, layout.sheet, leave=False)] if among else []
    if len(dates) > 1:
        return found, [_which("date", dates, layout.sheet, leave=False)]
    (date,) = dates
    rest = [use._replace(field="") if use.field == "date" else use for use in found]
    rest[date.column] = date
    return rest, []


_STARTS: Final = {"start", "started", "at", "on", "time", "stamp", "timestamp"}


def _one_reading(
    layout: Layout, found: list[Use], choices: Choices
) -> tuple[list[Use], list[Question]]:
    """Return the uses with at most one column of readings, or ask which it is."""
    if "rmssd" in choices.columns:
        kept = choices.columns["rmssd"]
        return [
            use._replace(field="") if use.field == "rmssd" and use.header.text not in kept else use
            for use in found
        ], []
    readings = [use for use in found if use.field == "rmssd"]
    sure = [use for use in readings if not use.likely]
    if not sure and len(readings) == 1 and readings[0].header.words in LIKELY_RMSSD:
        sure = readings
    if len(sure) == 2 and _same_in_ln(layout, *sure):
        sure = [use for use in sure if use.header.unit != "ln"]
    if len(sure) == 1 or not readings:
        rest = [
            use._replace(field="") if use.field == "rmssd" and use not in sure else use
            for use in found
        ]
        return rest, []
    return found, [_which("rmssd", sure or readings, layout.sheet, leave=True)]


def _same_in_ln(layout: Layout, one: Use, other: Use) -> bool:
    return {one.header.unit == "ln", other.header.unit == "ln"} == {True, False}


def _one(
    found: list[Use], field: str, choices: Choices, sheet: str
) -> tuple[list[Use], list[Question]]:
    several = [use for use in found if use.field == field]
    types = [use for use in found if use.field == "type"]
    if len(several) < 2 or field in choices.columns or (field == "dose" and len(types) > 1):
        return found, []
    return found, [_which(field, several, sheet, leave=True)]


def _which(field: str, among: Sequence[Use], sheet: str, leave: bool) -> Question:
    answers = [Answer(use.header.text) for use in among]
    return Question("column", field, "", [*answers, *([Answer(LEAVE)] if leave else [])], sheet)


def _numeric(cells: Sequence[Cell]) -> bool:
    """Say whether most cells are numbers by one of the decimal marks."""
    counts = [sum(amount(cell, mark) is not None for cell in cells) for mark in DECIMALS]
    return 2 * max(counts) > len(cells)


def _yes_and_no(cells: Sequence[Cell]) -> bool:
    words = {folded(words_of(cell)) or words_of(cell) for cell in cells}
    yes = words & YES
    return bool(cells) and words <= YES | NO | REST and bool(yes or words <= NO)
