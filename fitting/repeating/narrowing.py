"""How far more sessions of each type would narrow its range, and which type to repeat next."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np

from slackwater.fitting.answers.support import session_counts
from slackwater.fitting.repeating.more_sessions import (
    NIGHTS,
    TypeDraws,
    expected_widths,
    interval_width,
)
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import share_of
from slackwater.model.errors import Reason
from slackwater.model.levels import BASELINE
from slackwater.model.priors import Priors
from slackwater.model.season import DAY
from slackwater.model.trend import STEP_NIGHTS

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
    known = type_draws(now, label)
    before = interval_width(known, level)
    settled = before < NARROW_DAYS
    far = MORE if shown and not settled else tuple(more for more in MORE if more <= NEXT_FEW)
    widths = widths_after(now, label, known, far, level, now.rng(), NARROW_DAYS)
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


def widths_after(
    now: Standing,
    label: str,
    known: TypeDraws,
    counts: tuple[int, ...],
    level: float,
    rng: np.random.Generator,
    narrow: float | None = None,
) -> dict[int, float]:
    """Return the width that is expected after so many more sessions of a type, days.

    A season that grows longer than half a year with them lets recovery change, over all of its
    nights. The next few are reckoned with recovery as it is so far: what they take off the width
    is theirs then, and not the calendar's.

    Args:
        now: the state.
        label: the type.
        known: what is known of it, as `type_draws` gives it.
        counts: how many more sessions, ascending.
        level: credible mass of the range.
        rng: randomness.
        narrow: counts are left out from where a width is under this, or none will be; None for all.
    """
    nights = len(now.season.through(now.night).nights)
    as_so_far = (
        0 if n.DIP_TREND_SD in now.draws else max(NEXT_FEW, (STEP_NIGHTS - nights) // NIGHTS)
    )
    soon = tuple(more for more in counts if more <= as_so_far)

    def after(some: tuple[int, ...], draws: TypeDraws) -> dict[int, float]:
        found = expected_widths(
            draws.thinned(THINNED), some, PAIRS, level, rng, narrow=narrow, at_least=NEXT_FEW
        )
        return {more: float(w) for more, w in zip(some, found, strict=True) if np.isfinite(w)}

    widths = after(soon, known) if soon else {}
    rest = counts[len(soon) :]
    if rest and (narrow is None or all(width >= narrow for width in widths.values())):
        widths |= after(rest, changing(now, label, known, NIGHTS * rest[-1], rng))
    return widths


def type_draws(now: Standing, label: str) -> TypeDraws:
    """Return what is known of one type, draw by draw, if recovery stays as it is."""
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
        age=np.zeros(len(now.threshold)),
        dip_steps=np.zeros((len(now.threshold), 0)),
        rate_steps=np.zeros((len(now.threshold), 0)),
    )


def changing(
    now: Standing, label: str, known: TypeDraws, ahead: int, rng: np.random.Generator
) -> TypeDraws:
    """Return the draws with recovery that may change from the time on that they are of.

    That is the last night of a fit that let recovery change. Of one that did not it is the time
    that a type's sessions lie about, and how fast recovery changes is as believed before.

    Args:
        now: the state.
        label: the type.
        known: what is known of it.
        ahead: nights to come.
        rng: randomness.
    """
    draws = len(known.dip)
    if n.DIP_TREND_SD in now.draws:
        since = now.fitted_to
        sds = [now.parameter(name) for name in (n.DIP_TREND_SD, n.RATE_TREND_SD)]
    else:
        since = _middle_of_sessions(now, label)
        beliefs = (Priors().dip_trend_sd, Priors().rate_trend_sd)
        sds = [np.exp(b.mean + b.sd * rng.standard_normal(draws)) for b in beliefs]
    age = (now.night - since) / DAY
    steps = ceil((age + ahead) / STEP_NIGHTS)
    dip, rate = (sd[:, None] * rng.standard_normal((draws, steps)) for sd in sds)
    return known._replace(age=np.full(draws, age), dip_steps=dip, rate_steps=rate)


def _middle_of_sessions(now: Standing, label: str) -> np.datetime64:
    data = now.season.data
    dates = data[n.SESSION_DATE].values[data[n.SESSION_TYPE].values == label]
    days = dates[dates <= now.fitted_to].astype("datetime64[D]").astype(float)
    return np.datetime64(round(days.mean()), "D")


def pays_most(types: Iterable[Narrowing]) -> Narrowing | None:
    """Return the type that a repeat of would pay most; None where every range is narrow."""
    wide = [row for row in types if row.width_days >= NARROW_DAYS]
    return max(wide, key=lambda row: row.gain_days, default=None)
