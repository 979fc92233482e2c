"""Back at baseline: the chance of it on each morning, and the one rule for a single date.

Wherever one date or one number of days is told, it is by `first_back`: the first morning on which
the chance asked for is reached. Middles and ranges are another thing, and stand in tables.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import Final

import numpy as np

from slackwater.fitting.state.ahead import FARTHEST, dips_ahead
from slackwater.fitting.state.standing import Event, Standing
from slackwater.model.dynamics import Floats
from slackwater.model.errors import QuestionError
from slackwater.model.season import DAY

FOUR_IN_FIVE: Final = 0.8  # asked for where nobody says otherwise
HIGHEST_CHANCE: Final = 0.99  # that can be asked for


def chances_back(now: Standing, mornings: int, planned: Sequence[Event] = ()) -> Floats:
    """Return the chance that all dips together lie under the threshold, shape (mornings + 1,).

    Args:
        now: the state; its own morning is the first.
        mornings: how many after it.
        planned: sessions to come, beside those logged.
    """
    later, _, _ = dips_ahead(now, mornings, planned)
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


def back_by(
    now: Standing, planned: Sequence[Event] = (), asked: float = FOUR_IN_FIVE
) -> np.datetime64 | None:
    """Return the morning from which on rest is enough, by the same rule; None beyond 60 days.

    Args:
        now: the state.
        planned: sessions to come, beside those logged; all of them are felt first.
        asked: the chance asked for.
    """
    last = max((event.night for event in (*now.pending, *planned)), default=0)
    morning = first_back(chances_back(now, last + FARTHEST, planned), asked, last)
    return None if morning is None else np.datetime64(now.night + DAY * morning)


def check_chance(chance: float) -> None:
    """Refuse a chance that cannot be asked for.

    Raises:
        QuestionError: it is not above 0 and at most 0.99.
    """
    if not 0.0 < chance <= HIGHEST_CHANCE:
        raise QuestionError(
            f"The chance {chance:g} is not above 0 and at most {HIGHEST_CHANCE:g}; 0.8 is the "
            "default, which is four mornings in five."
        )
