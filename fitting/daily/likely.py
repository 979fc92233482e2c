"""Which names are most likely to be logged on a day, the likeliest first."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterable
from typing import Final, NamedTuple

from slackwater.fitting.doubts.foreseen import DOSE_PRIOR
from slackwater.fitting.intake.tables import Tables

LATELY: Final = dt.timedelta(weeks=8)
LESS: Final = round(math.exp(-DOSE_PRIOR.sd), 1)  # one SD of what is believed of doses, both ways
MORE: Final = round(math.exp(DOSE_PRIOR.sd), 1)


class Likely(NamedTuple):
    """What is likely to be logged on a day.

    Attributes:
        types: the session types.
        measures: the recovery measures.
        stressors: the stressors.
    """

    types: list[str]
    measures: list[str]
    stressors: list[str]


def likely(
    tables: Tables, day: dt.date, planned: Iterable[str] = (), on_trial: Iterable[str] = ()
) -> Likely:
    """Return all names of a season, those first that are likeliest on a day.

    What is planned or on trial comes first; then what was logged most often on that weekday in
    the eight weeks before, then most often in these weeks, then ever.

    Args:
        tables: the season's rows.
        day: the day.
        planned: session types planned for it.
        on_trial: measures under trial.
    """
    sessions = [(row.date, row.type) for row in tables.sessions.rows]
    measures = [(row.date, row.intervention) for row in tables.interventions.rows]
    stressors = [(row.date, row.stressor) for row in tables.stressors.rows]
    described = [row.type for row in tables.types.rows]
    return Likely(
        _ordered(sessions, day, planned, described),
        _ordered(measures, day, on_trial),
        _ordered(stressors, day),
    )


def _ordered(
    logged: list[tuple[dt.date, str]],
    day: dt.date,
    first: Iterable[str] = (),
    also: Iterable[str] = (),
) -> list[str]:
    lately = [(date, name) for date, name in logged if _lately(date, day)]
    ever, often = Counter(name for _, name in logged), Counter(name for _, name in lately)
    alike = Counter(name for date, name in lately if date.weekday() == day.weekday())
    wanted = [*dict.fromkeys(first)]
    names = dict.fromkeys([*wanted, *ever, *also])
    return sorted(
        names,
        key=lambda name: (
            wanted.index(name) if name in wanted else len(wanted),
            -alike[name],
            -often[name],
            -ever[name],
            name,
        ),
    )


def _lately(date: dt.date, day: dt.date) -> bool:
    """Return whether a date lies in the eight weeks before a day."""
    return dt.timedelta(0) < day - date <= LATELY
