"""What is told of the unexplained on each morning of a made season.

Every morning is asked as an athlete would: with the log and the readings until then, and the fit
of an earlier morning, made anew every four weeks and whenever slackwater asks for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from slackwater.fitting.state.athlete import Athlete
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.asking import Flag, learn, unexplained
from tests.studies.generator import make
from tests.studies.kinds import KINDS

REFIT_EVERY: Final = 28
FIRST_ASKED: Final = 42  # nights that are read before the first morning asked
TWO_YEARS: Final = 730
AFTERWARDS: Final = 14  # nights watched after a drop has begun to heal


def fall(kind: str, seed: int) -> dict[str, Any]:
    """Return what is told on every morning from a drop's first on: percent, None for nothing."""
    made = make(kind, seed)
    drop = KINDS[kind].drop
    assert drop is not None
    assert made.drop_at is not None
    season = Season.from_tables("made", **made.tables)
    last = min(made.drop_at + drop.nights + AFTERWARDS, made.nights)
    flags = _mornings(season, range(made.drop_at, last), seed)
    before = made.nights if drop.ends else made.drop_at + drop.nights
    return {"kind": kind, "told": [f and f.percent for f in flags], "lasted": before - made.drop_at}


def watch(kind: str, seed: int, nights: int = TWO_YEARS) -> dict[str, Any]:
    """Return on which mornings of a long season without a drop something is told."""
    made = make(kind, seed, nights)
    season = Season.from_tables("made", **made.tables)
    flags = _mornings(season, range(FIRST_ASKED, nights), seed)
    return {"kind": kind, "told": [f and f.percent for f in flags]}


def _mornings(season: Season, mornings: range, seed: int) -> Iterator[Flag | None]:
    """Ask on each morning that has a reading; on others what was told last holds."""
    posterior, fitted_at, flag = None, 0, None
    for night in mornings:
        if not season.read[night]:
            yield flag
            continue
        if posterior is None or night - fitted_at >= REFIT_EVERY:
            fitted_at = _read_before(season, night)
            posterior, _ = learn(season.through(season.nights[fitted_at]), seed)
        known = season.through(season.nights[night])
        try:
            flag = unexplained(Athlete(known, posterior))
        except NoAnswerError:
            (posterior, _), fitted_at = learn(known, seed), night
            flag = _told_by(known, posterior)
        yield flag


def _told_by(known: Season, posterior: Any) -> Flag | None:
    """Ask of a fit of this very morning; a fit that is no good tells nothing."""
    try:
        return unexplained(Athlete(known, posterior))
    except NoAnswerError:
        return None


def _read_before(season: Season, night: int) -> int:
    return int(np.flatnonzero(season.read[:night])[-1])
