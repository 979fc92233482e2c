"""How far the logged sessions of a type agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.intervals import Interval, interval
from slackwater.fitting.state.own_recovery import UNDISTURBED, OwnRecovery
from slackwater.model.dynamics import Floats


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


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """How far the sessions of one type agree.

    Attributes:
        undisturbed: how many were over before anything else was logged.
        scatter_factor: how far their dips differ, as a factor; NaN where there is one alone.
        own_days_of_sessions: from the shortest to the longest.
        each: the sessions.
    """

    undisturbed: int
    scatter_factor: Interval
    own_days_of_sessions: OwnDays
    each: tuple[OwnSession, ...]


def agreement(own: OwnRecovery, label: str, level: float) -> Agreement:
    """Return how far the fitted sessions of a type agree.

    Args:
        own: every fitted session's own recovery.
        label: the type; one session of it at least is fitted.
        level: credible mass of every interval.
    """
    which = np.flatnonzero(own.types == label)
    each = tuple(_session(own, int(session), level) for session in which)
    middles = [session.days.median for session in each]
    return Agreement(
        undisturbed=sum(session.over and session.disturbed_by is None for session in each),
        scatter_factor=interval(_scatter_factor(own.scatter[:, which]), level),
        own_days_of_sessions=OwnDays(min(middles), max(middles)),
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
