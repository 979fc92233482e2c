"""All that is to be asked about a folder's rows, and what is assumed until it is answered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from itertools import repeat
from typing import Any, Final, NamedTuple

from slackwater.fitting.doubts.dates import today_of
from slackwater.fitting.doubts.entries import Doubt, doubts_among
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import DayRow
from slackwater.fitting.intake.tables import Entry, Table, Tables
from slackwater.model.errors import Reason

FAR: Final = 5.0  # times: far beyond what a body or a session does (a reason, no source)
LEFT_OUT: Final = "left out"
USUAL_DOSE: Final = "usual dose"
AS_IT_STANDS: Final = "as it stands"
MOST_LEFT_OUT: Final = 0.1  # of a file's rows; where more can't be right, they are no slips


class Found(NamedTuple):
    """One row of a folder that is to be asked about.

    Attributes:
        row: the row.
        reason: what is doubted: among its facts `file`, `line` and `column_number` of the cell,
            and what is `assumed` until the row is mended or confirmed.
    """

    row: DayRow
    reason: Reason

    @property
    def assumed(self) -> str:
        """What answers assume of the row meanwhile."""
        return str(self.reason.facts["assumed"])


def doubts_in(tables: Tables, clock: dt.date) -> list[Found]:
    """Return what is to be asked about a folder's rows, in the order of its files.

    Args:
        tables: the rows.
        clock: what day the clock says it is.
    """
    rows = [row for table in tables.each for row in table.rows]
    history = History(rows)
    today = today_of(clock, history)
    confirmed = tables.confirmed.rows
    found: list[Found] = []
    for table in tables.logged:
        its = table.rows
        doubts = doubts_among(its, history, today=today, confirmed=confirmed)
        assumed = [_assumed(doubt.reason) for doubt in doubts]
        if assumed.count(LEFT_OUT) > MOST_LEFT_OUT * len(its):
            assumed = [AS_IT_STANDS] * len(doubts)
        found += map(_placed, doubts, assumed, repeat(table))
    return found


def assuming(tables: Tables, found: Sequence[Found]) -> Tables:
    """Return the rows that answers are made from: without what can't be right."""
    left_out = {id(each.row) for each in found if each.assumed == LEFT_OUT}
    usual = {
        id(each.row): each.reason.facts["usual"] for each in found if each.assumed == USUAL_DOSE
    }

    def kept(table: Table[Any]) -> Table[Any]:
        entries = [
            replace(entry, values=replace(entry.values, dose=usual[id(entry.values)]))
            if id(entry.values) in usual
            else entry
            for entry in table.entries
            if id(entry.values) not in left_out
        ]
        return replace(table, entries=entries)

    return replace(
        tables,
        readings=kept(tables.readings),
        sessions=kept(tables.sessions),
        interventions=kept(tables.interventions),
        stressors=kept(tables.stressors),
    )


def _placed(doubt: Doubt, assumed: str, table: Table[Any]) -> Found:
    entry: Entry[Any] = table.entries[doubt.place]
    name = doubt.reason.facts["column"]
    column = table.columns[name].number if name in table.columns else 1
    reason = doubt.reason.among(
        file=table.file, line=entry.line, column_number=column, assumed=assumed
    )
    return Found(entry.values, reason)


def _assumed(reason: Reason) -> str:
    """Return what answers assume of a row: what can't be right must not spoil them.

    What is merely unlikely is taken as it stands: the model's nights have heavy tails.
    """
    facts = reason.facts
    match reason.code:
        case "decimal comma" | "a slip of the date":
            return LEFT_OUT
        case "unlikely reading" if _times(facts["ms"], facts["expected_ms"]) > FAR:
            return LEFT_OUT
        case "unlikely dose" if _times(facts["dose"], facts["usual"]) > FAR:
            return USUAL_DOSE
    return AS_IT_STANDS


def _times(one: float, other: float) -> float:
    return max(one / other, other / one)
