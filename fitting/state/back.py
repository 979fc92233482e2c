"""Back at baseline: the chance of it on each morning, and the one rule for a single date.

Wherever one date or one number of days is told, it is by `first_back`: the first morning on which
the chance asked for is reached. Middles and ranges are another thing, and stand in tables.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import Final

import numpy as np

from slackwater.fitting.state.ahead import dips_ahead
from slackwater.fitting.state.standing import Event, Standing
from slackwater.model.dynamics import Floats

FOUR_IN_FIVE: Final = 0.8  # asked for where nobody says otherwise


def chances_back(now: Standing, mornings: int, planned: Sequence[Event] = ()) -> Floats:
    """Return the chance that all dips together lie under the threshold, shape (mornings + 1,).

    Args:
        now: the state; its own morning is the first.
        mornings: how many after it.
        planned: sessions to come, beside those logged.
    """
    later, _, _ = dips_ahead(now, mornings, list(planned), (), now.rng())
    dips = np.concatenate([now.dips.sum(axis=1)[:, None], later], axis=1)
    return np.asarray((dips <= now.threshold[:, None]).mean(axis=0))


def first_back(
    chances: Sequence[float] | Floats, asked: float, earliest: int = 0, closed: Container[int] = ()
) -> int | None:
    """Return the first morning on which the chance asked for is reached; None where there is none.

    Args:
        chances: of each morning, from `chances_back`.
        asked: the chance asked for.
        earliest: the first that counts.
        closed: those that do not count.
    """
    mornings = range(earliest, len(chances))
    return next((m for m in mornings if m not in closed and chances[m] >= asked), None)
