"""Doses far from a type's usual ones."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from slackwater.fitting.doubts import foreseen as f
from slackwater.fitting.doubts.history import History
from slackwater.fitting.doubts.slips import likeliest, of_a_dose
from slackwater.fitting.intake.cells import SessionRow
from slackwater.model.errors import Reason

SHORTEST_MINUTES: Final = 15.0  # a number from here on may be minutes
_ENOUGH: Final = 100  # doses tell what is usual


def unlikely(row: SessionRow, history: History, inside: bool = False) -> Iterator[Reason]:
    """Yield the reason where a dose lies too far from the type's others.

    Args:
        row: the session.
        history: what else is logged.
        inside: whether the session itself is among it.
    """
    if row.dose == 1.0:
        return
    others = [*history.doses.get(row.type, ())]
    if len(others) > _ENOUGH:  # in order, so that every so many have the spread of all
        others = others[:: len(others) // _ENOUGH]
    elif inside:
        others.remove(row.dose)
    foreseen = f.from_own("own doses", [math.log(dose) for dose in others], f.DOSE_PRIOR)
    chance = foreseen.chance(math.log(row.dose))
    if chance >= f.ASKED_BELOW:
        return
    slip, meant = likeliest(of_a_dose(row.dose), foreseen) or ("", None)
    yield Reason(
        "unlikely dose",
        column="dose",
        date=str(row.date),
        type=row.type,
        dose=row.dose,
        usual=math.exp(foreseen.median),
        low=math.exp(foreseen.quantile(f.LIKELY / 2)),
        high=math.exp(foreseen.quantile(1 - f.LIKELY / 2)),
        chance=chance,
        slip=slip,
        meant=meant,
        minutes=row.dose >= SHORTEST_MINUTES,
    )
