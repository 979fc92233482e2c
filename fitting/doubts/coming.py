"""Entries that are about to be written, against what a folder holds: for whoever writes them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence

from slackwater.fitting.doubts.dates import today_of
from slackwater.fitting.doubts.entries import Doubt, Forecast, doubts_among, doubts_of
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import DayRow
from slackwater.fitting.intake.tables import Tables


def doubts_of_coming(
    rows: Sequence[DayRow],
    tables: Tables,
    clock: dt.date,
    forecast: Forecast = lambda _: None,
) -> list[Doubt]:
    """Return what is to be asked before entries are written; nothing for what was confirmed.

    One entry is judged by what is logged; of many, each by all others as well, as a file's rows
    are. Where an entry is confirmed, its `entries.confirmation_of` is written with it.

    Args:
        rows: the entries, of any file, in the order in which they come.
        tables: the folder's rows, from `intake.files.read_tables`, with whatever is wrong in them.
        clock: what day the clock says it is.
        forecast: from a morning to the model's forecast of it, None where there is none.

    Returns:
        In the order of the entries; `place` is each one's among `rows`.
    """
    history = History(row for table in tables.each for row in table.rows)
    confirmed = tables.confirmed.rows
    if len(rows) == 1:
        (row,) = rows
        today = today_of(clock, history)
        reasons = doubts_of(
            row, history, foreseen=forecast(row.date), today=today, confirmed=confirmed
        )
        return [Doubt(0, row, reason) for reason in reasons]
    places: defaultdict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        history.add(row)
        places[row.file].append(place)
    today = today_of(clock, history)
    found = [
        doubt._replace(place=its[doubt.place])
        for its in places.values()
        for doubt in doubts_among(
            [rows[place] for place in its],
            history,
            forecast=forecast,
            today=today,
            confirmed=confirmed,
        )
    ]
    return sorted(found, key=lambda doubt: doubt.place)
