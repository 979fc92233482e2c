"""What a foreign file was understood to be, and what it did to a season, as text and JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from slackwater.fitting.importing.columns import Use
from slackwater.fitting.importing.entries import Entry, counted
from slackwater.fitting.importing.merge import Merged, span
from slackwater.fitting.importing.plan import Plan
from slackwater.fitting.importing.proposal import Proposal
from slackwater.fitting.report.objects import SCHEMA, Json, plain
from slackwater.fitting.text import escaped, listed, plural

SHOWN: Final = 5
MOST_CONFLICTS: Final = 10
_FIELDS: Final = {
    "date": "the date",
    "rmssd": "RMSSD",
    "sensor": "the sensor",
    "note": "a note",
    "type": "a session's type",
    "dose": "a session's dose",
    "intervention": "a recovery measure",
    "stressor": "a stressor",
}
_UNITS: Final = {"ms": "in milliseconds", "s": "in seconds", "ln": "as ln RMSSD"}
_ORDERS: Final = {
    "day-first": "day, month, year",
    "month-first": "month, day, year",
    "year-first": "year, month, day",
    "days-since-1900": "a spreadsheet's day numbers (1900 system)",
    "days-since-1904": "a spreadsheet's day numbers (1904 system)",
}
_FILES: Final = {
    "readings": "reading",
    "sessions": "session",
    "interventions": "intervention",
    "stressors": "stressor",
}
_MARKS: Final = {";": "semicolons", ",": "commas", "\t": "tabs", "|": "bars"}


def proposal(found: Proposal, merged: Merged) -> Iterator[RenderableType]:
    """Yield what a file was understood to be, with five of its rows."""
    for plan, made in zip(found.plans, found.made, strict=True):
        yield Text(escaped(_heading(found, plan)), "bold")
        for line in _understood(plan):
            yield Padding(Text(escaped(line)), (0, 0, 0, 2))
        for line in _left(plan, made.rests, made.zeros, made.split):
            yield Padding(Text(escaped(line), "dim"), (0, 0, 0, 2))
    if found.aside:
        yield Text(f"Left aside, as nothing of a season is in it: {escaped(listed(found.aside))}.")
    yield Text("")
    yield _rows(found.rows)
    yield Text("")
    yield Text(_totals(found.rows, merged))
    yield from _conflicts(merged)


def _heading(found: Proposal, plan: Plan) -> str:
    book = found.book
    name = f"{book.file}, sheet {plan.layout.sheet}" if plan.layout.sheet else book.file
    header = f"header in row {plan.layout.line}" if plan.layout.line else "no header"
    if book.kind != "text":
        return f"{name}: {header}"
    mark = _MARKS.get(book.separator or "", repr(book.separator))
    return f"{name}: {book.encoding}, {mark} between fields, {header}"


def _understood(plan: Plan) -> Iterator[str]:
    for use in plan.uses:
        if use.field in _FIELDS or use == plan.dosed_by:
            yield f"{use.header.text} → {_meaning(plan, use)}"
    aside = [u.header.text for u in plan.uses if u.field not in _FIELDS and u != plan.dosed_by]
    named = [text for text in aside if not text.startswith("column ")]
    if named:
        yield f"left aside: {listed(named)}"


def _meaning(plan: Plan, use: Use) -> str:
    if use == plan.dosed_by:
        return "a session's dose, divided by its type's usual"
    meaning = _FIELDS[use.field]
    if use.field == "date" and plan.ordered:
        meaning += f", written {_ORDERS[plan.order]}"
    elif use.field == "date" and plan.order.startswith("days"):
        meaning += f", written as {_ORDERS[plan.order]}"
    if use.field == "date" and plan.choices.evening == "evening":
        meaning += " of the evening before"
    if use.field == "rmssd":
        meaning += f" {_UNITS[plan.unit]}"
        meaning += " (taken for RMSSD: see that it is no other measure)" if use.likely else ""
    if use.field in ("rmssd", "dose") and plan.pointed:
        meaning += ", with a decimal comma" if plan.decimal == "," else ", with a decimal point"
    return f"{meaning}, on the days that say yes" if use.flag else meaning


def _left(plan: Plan, rests: int, zeros: Sequence[int], split: int) -> Iterator[str]:
    days = plan.days
    lost = [] if plan.choices.undated == "above" else [row.number for row in days.undated]
    for numbers, what in (
        (days.totals, "a sum or mean"),
        (days.asides, "a title or remark"),
        (lost, "having no date"),
        (zeros, "reading 0 or less"),
    ):
        if numbers:
            more = [f"{len(numbers) - 5} more"] if len(numbers) > 5 else []
            rows = "row" if len(numbers) == 1 else "rows"
            yield f"left out, as {what}: {rows} {listed([*map(str, numbers[:5]), *more])}"
    if rests:
        yield f"no session: {plural(rests, 'day')} of rest"
    if split:
        yield f"{plural(split, 'cell')} with several names, parted at commas and semicolons"


def _rows(rows: Sequence[Entry]) -> Table:
    """Return five rows as a season's files will hold them, of each file some."""
    table = Table(box=None, pad_edge=False)
    for heading in ("file", "date", "", ""):
        table.add_column(heading, overflow="fold")
    for row in _shown(rows):
        first = [*row.cells.values()][1]
        shown = f"{first:g} ms" if isinstance(first, float) else str(first)
        rest = ", ".join(
            f"dose {v:g}" if name == "dose" else str(v) for name, v in [*row.cells.items()][2:]
        )
        cells = (f"{row.file}.csv", str(row.cells["date"]), shown, rest)
        table.add_row(*(escaped(cell)[:60] for cell in cells))
    return table


def _shown(rows: Sequence[Entry]) -> list[Entry]:
    by_file: dict[str, list[Entry]] = {}
    for row in rows:
        by_file.setdefault(row.file, []).append(row)
    shown: list[Entry] = []
    for n in range(SHOWN):
        shown += [of[n] for of in by_file.values() if n < len(of)]
    kept = shown[:SHOWN]
    return [row for row in rows if any(row is one for one in kept)]


def _totals(rows: Sequence[Entry], merged: Merged) -> str:
    dates = span(rows)
    told = listed(plural(count, _FILES[file]) for file, count in counted(rows).items())
    new = listed(plural(n, _FILES[file]) for file, n in counted(merged.added).items())
    between = f", {dates[0]} to {dates[1]}" if dates else ""
    same = sum(merged.same.values())
    text = f"{told}{between}: {new or 'nothing'} new"
    return f"{text}, {plural(same, 'row')} there already." if same else f"{text}."


def _conflicts(merged: Merged) -> Iterator[RenderableType]:
    if not merged.conflicts:
        return
    many = plural(len(merged.conflicts), "row")
    verb = "differs" if len(merged.conflicts) == 1 else "differ"
    yield Text(f"{many} {verb} from the season:")
    for entry, column, there, line in merged.conflicts[:MOST_CONFLICTS]:
        label = f" {entry.cells['type']}" if "type" in entry.cells else ""
        text = (
            f"{entry.file}.csv:{line}: {entry.cells['date']}{label}: {column} is {there:g}, "
            f"the file has {entry.cells[column]:g} (row {entry.row})"
        )
        yield Padding(Text(escaped(text)), (0, 0, 0, 2))
    if (more := len(merged.conflicts) - MOST_CONFLICTS) > 0:
        yield Padding(Text(f"and {more} more"), (0, 0, 0, 2))


def as_object(
    found: Proposal,
    merged: Merged,
    replaced: bool,
    season: Mapping[str, Any],
    doubts: Iterable[str],
) -> Json:
    """Return the same as one JSON object.

    Args:
        found: what the file was understood to be.
        merged: what it does to the season.
        replaced: whether the season's rows gave way where they differed.
        season: the season's name and last night.
        doubts: what is unlikely among the rows, in words.
    """
    return {
        "schema": SCHEMA,
        **season,
        "warnings": [*doubts],
        "file": found.book.file,
        "kind": found.book.kind,
        "encoding": found.book.encoding,
        "separator": found.book.separator,
        "remembered": found.remembered,
        "sheets": [
            _sheet(plan, made.rests, made.zeros)
            for plan, made in zip(found.plans, found.made, strict=True)
        ],
        "sheets_left_aside": [*found.aside],
        "rows": counted(found.rows),
        "added": counted(merged.added),
        "same": dict(merged.same),
        "replaced": replaced and len(merged.conflicts),
        "conflicts": [
            {
                "file": f"{entry.file}.csv",
                "line": line,
                "row": entry.row,
                "date": plain(entry.cells["date"]),
                "type": plain(entry.cells.get("type")),
                "column": column,
                "season": plain(there),
                "import": plain(entry.cells[column]),
                "kept": "import" if replaced else "season",
            }
            for entry, column, there, line in merged.conflicts
        ],
    }


def _sheet(plan: Plan, rests: int, zeros: Sequence[int]) -> Json:
    return {
        "sheet": plan.layout.sheet,
        "header_row": plan.layout.line,
        "columns": [
            {
                "header": use.header.text,
                "field": "dose"
                if use == plan.dosed_by
                else (use.field if use.field in _FIELDS else None),
                "yes_and_no": use.flag,
            }
            for use in plan.uses
        ],
        "dates": plan.order if plan.ordered or plan.order.startswith("days") else None,
        "decimal": plan.decimal if plan.pointed else None,
        "unit": plan.unit if plan.reading else None,
        "evening": plan.choices.evening,
        "left_out": {
            "totals": plan.days.totals,
            "remarks": plan.days.asides,
            "undated": [row.number for row in plan.days.undated],
            "readings_of_0": [*zeros],
            "rests": rests,
        },
    }
