"""How far the logged sessions of a type agree, and whether they were back when promised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.answers.intervals import Interval, interval
from slackwater.fitting.state.own_recovery import UNDISTURBED, OwnRecovery
from slackwater.fitting.state.standing import Standing
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import Reason
from slackwater.model.season import DAY

PROMISE: Final = 0.8
PROMISE_RULE: Final = Reason("promise rule")


@dataclass(frozen=True)
class OwnSession:
    """One logged session's own recovery.

    Attributes:
        date: its date.
        dose: 1 = usual.
        dip_ln: its first night's dip, ln.
        days: its own days to recover.
        over: whether the readings reach so far.
        disturbed_by: the first session or stressor logged before it was over; None for none.
        disturbed_after_days: days from the session to that.
    """

    date: np.datetime64
    dose: float
    dip_ln: Interval
    days: Interval
    over: bool
    disturbed_by: str | None
    disturbed_after_days: int | None


@dataclass(frozen=True)
class OwnDays:
    """The shortest and the longest of a type's sessions' own days, medians."""

    shortest: float
    longest: float


@dataclass(frozen=True)
class Promise:
    """The share of sessions that was back by the proposed day, against the promise.

    Attributes:
        days: the day by which 4 in 5 were to be back; None where beyond those looked at.
        promised: the chance of being back by then.
        found: the share of the logged ones that was.
        sessions: how many are counted: those whose day has come.
    """

    days: int | None
    promised: float
    found: Interval
    sessions: int


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """How far the sessions of one type agree.

    Attributes:
        undisturbed: how many were over before anything else was logged.
        scatter_factor: how far their dips differ, as a factor; NaN where there is one alone.
        own_days_of_sessions: from the shortest to the longest.
        promise: how many were back when they were to be.
        each: the sessions.
    """

    undisturbed: int
    scatter_factor: Interval
    own_days_of_sessions: OwnDays
    promise: Promise
    each: tuple[OwnSession, ...]


def agreement(
    now: Standing,
    own: OwnRecovery,
    label: str,
    proposed: float,
    level: float,
    rng: np.random.Generator,
) -> Agreement:
    """Return how far the fitted sessions of a type agree.

    Args:
        now: the state.
        own: every fitted session's own recovery.
        label: the type; one session of it at least is fitted.
        proposed: the day by which `PROMISE` of them were to be back; NaN where none was found.
        level: credible mass of every interval.
        rng: randomness of the share found.
    """
    which = np.flatnonzero(own.types == label)
    each = tuple(_session(own, int(session), level) for session in which)
    middles = [session.days.median for session in each]
    return Agreement(
        undisturbed=sum(session.over and session.disturbed_by is None for session in each),
        scatter_factor=interval(_scatter_factor(own.scatter[:, which]), level),
        own_days_of_sessions=OwnDays(min(middles), max(middles)),
        promise=_promise(now, own, which, proposed, level, rng),
        each=each,
    )


def _session(own: OwnRecovery, session: int, level: float) -> OwnSession:
    by = own.disturbed_by[session]
    alone = by == UNDISTURBED
    return OwnSession(
        date=own.dates[session],
        dose=float(own.doses[session]),
        dip_ln=interval(own.first_night_dips[:, session], level),
        days=interval(own.days[:, session], level),
        over=bool(own.over[session]),
        disturbed_by=None if alone else by,
        disturbed_after_days=None if alone else int(own.disturbed_after[session]),
    )


def _scatter_factor(scatter: Floats) -> Floats:
    """Return draws of the factor by which sessions of shape (S, sessions) differ."""
    if scatter.shape[1] < 2:
        return np.full(len(scatter), np.nan)  # one session agrees with nothing
    return np.asarray(np.exp(np.sqrt((scatter**2).mean(axis=1))))


def _promise(
    now: Standing,
    own: OwnRecovery,
    which: Ints,
    proposed: float,
    level: float,
    rng: np.random.Generator,
) -> Promise:
    """Hold the share of sessions that was back by the proposed day against the promise."""
    passed = (now.night - own.dates[which]) / DAY
    judged = which[passed >= proposed]  # none where no day is proposed
    back = own.days_of_another[:, judged] <= proposed
    found = share_of(own.days[:, judged] <= proposed, rng)
    return Promise(
        days=int(proposed) if np.isfinite(proposed) else None,
        promised=float(back.mean()) if len(judged) else np.nan,
        found=interval(found, level),
        sessions=len(judged),
    )


def share_of(hits: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    """Return draws of the share behind hits that are themselves known by draws, shape (S,).

    For hits that are certain, Jeffreys' binomial interval, which suits few trials (Brown,
    Cai & DasGupta 2001, Statistical Science 16:101-133); else the mixture of each draw's.

    Args:
        hits: shape (S, trials).
        rng: randomness.
    """
    trials = hits.shape[1]
    if trials == 0:
        return np.full(len(hits), np.nan)
    count = hits.sum(axis=1)
    return np.asarray(rng.beta(count + 0.5, trials - count + 0.5))
