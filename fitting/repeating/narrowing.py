"""How far more sessions of each type would narrow its range, and which type to repeat next."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from slackwater.fitting.answers.support import session_counts
from slackwater.fitting.repeating.more_sessions import TypeDraws, expected_widths, interval_width
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import share_of
from slackwater.model.errors import Reason
from slackwater.model.levels import BASELINE

NARROW_DAYS: Final = 1.0
MORE: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)
NEXT_FEW: Final = 4  # narrowing is averaged over so many, as one alone drowns in noise
THINNED: Final = 2000
PAIRS: Final = 12
NARROWING_RULE: Final = Reason("narrowing rule", sessions=NEXT_FEW)
GAIN_RULE: Final = Reason("gain rule")


@dataclass(frozen=True, kw_only=True)
class Narrowing:
    """What more undisturbed sessions of one type would take off its range of typical days.

    Attributes:
        type: the session type.
        width_days: how wide the range is now.
        expected_width_days: pairs of so many more sessions and the width expected after them, as
            far as it was needed to look.
        more_needed: sessions until it is expected to be narrow; None where more than looked at.
        more_looked_at: the most looked at.
        narrowing_days: what each of the next few is expected to take off.
        share_of_sessions: the type's share of all that were logged.
        gain_days: the product of the two, by which types are ranked.
    """

    type: str
    width_days: float
    expected_width_days: tuple[tuple[int, float], ...]
    more_needed: int | None
    more_looked_at: int = MORE[-1]
    narrowing_days: float
    share_of_sessions: float
    gain_days: float


def narrowing(
    now: Standing, types: Collection[str], shown: Collection[str], level: float
) -> dict[str, Narrowing]:
    """Return what more sessions of each type would take off the width of its range.

    Args:
        now: the state.
        types: the types that can be answered.
        shown: those for which it is also asked how many are needed.
        level: credible mass of the range.
    """
    counts = session_counts(now)
    logged = sum(counts[label] for label in types)
    return {
        label: _narrowing(now, label, counts[label] / logged, level, label in shown)
        for label in types
    }


def _narrowing(now: Standing, label: str, share: float, level: float, shown: bool) -> Narrowing:
    draws = type_draws(now, label).thinned(THINNED)
    before = interval_width(draws, level)
    settled = before < NARROW_DAYS
    far = MORE if shown and not settled else tuple(more for more in MORE if more <= NEXT_FEW)
    found = expected_widths(
        draws, far, PAIRS, level, now.rng(), narrow=NARROW_DAYS, at_least=NEXT_FEW
    )
    widths = {more: float(w) for more, w in zip(far, found, strict=True) if np.isfinite(w)}
    enough = (more for more, width in widths.items() if width < NARROW_DAYS)
    taken_off = (before - widths[NEXT_FEW]) / NEXT_FEW
    return Narrowing(
        type=label,
        width_days=before,
        expected_width_days=tuple(widths.items()),
        more_needed=0 if settled else next(enough, None),
        narrowing_days=taken_off,
        share_of_sessions=share,
        gain_days=taken_off * share,
    )


def type_draws(now: Standing, label: str) -> TypeDraws:
    """Return what is known of one type, draw by draw."""
    which = now.types.index(label)
    return TypeDraws(
        dip=np.exp(now.log_dips()[:, which]),
        first_night=now.parameter(n.FIRST_NIGHT),
        rate=np.exp(now.parameter(n.TYPE_LOG_RATE)[:, which]),
        threshold=now.threshold,
        noise_sd=now.parameter(n.NOISE_SD),
        lingering=share_of(now.parameter(n.LINGERING_ODDS)),
        persistence=share_of(now.parameter(n.PERSISTENCE_ODDS)),
        session_sd=now.parameter(n.SESSION_SD),
        drift_sd=now.parameter(n.DRIFT_SD),
        level_variance=now.level.covariance[BASELINE, BASELINE],
    )


def pays_most(types: Iterable[Narrowing]) -> Narrowing | None:
    """Return the type that a repeat of would pay most; None where every range is narrow."""
    wide = [row for row in types if row.width_days >= NARROW_DAYS]
    return max(wide, key=lambda row: row.gain_days, default=None)
