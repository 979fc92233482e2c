"""Each logged session's own recovery, and what came before it was over."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.season import DAY, Season

UNDISTURBED: Final = ""


class OwnRecovery(NamedTuple):
    """The I sessions that were fitted, S draws.

    Attributes:
        dates: their dates, shape (I,).
        types: their types, shape (I,).
        doses: shape (I,).
        scatter: log of each dip over its type's typical one at that dose, shape (S, I).
        first_night_dips: what the first night shows, shape (S, I), ln.
        days: days from the session's date until its own dip is under the threshold, with
            the measures logged for the nights after it, shape (S, I).
        over: whether the readings reach as far as the median of `days`, shape (I,).
        disturbed_by: the first session or stressor logged before that, else
            `UNDISTURBED`, length I.
        disturbed_after: days from the session to that, shape (I,), NaN where undisturbed.
    """

    dates: NDArray[np.datetime64]
    types: NDArray[np.str_]
    doses: Floats
    scatter: Floats
    first_night_dips: Floats
    days: Floats
    over: NDArray[np.bool_]
    disturbed_by: list[str]
    disturbed_after: Floats


def own_recovery(now: Standing, posterior: Posterior) -> OwnRecovery:
    """Return the own recovery of every session that was fitted.

    Args:
        now: the state, from `standing`.
        posterior: what it was made from.
    """
    fitted = now.season.through(posterior.last_night)
    types = fitted.data[n.SESSION_TYPE].values
    which = np.array([now.types.index(str(t)) for t in types], int)
    doses = fitted.data[n.DOSE].values
    scatter_sd = now.parameter(n.SESSION_SD)[:, None]
    scatter = scatter_sd * _session_z(now, posterior)
    dates: NDArray[np.datetime64] = fitted.data[n.SESSION_DATE].values.astype("datetime64[D]")
    felt = fitted.first_night + DAY * fitted.session_nights()
    typical = doses * np.exp(now.log_dips()[:, which] + now.dip_trend(felt))
    rates = np.exp(now.parameter(n.TYPE_LOG_RATE)[:, which])
    days = _days(now, fitted, typical * np.exp(scatter), rates)
    first_night = now.parameter(n.FIRST_NIGHT)[:, None]
    middle = np.median(days, axis=0)
    by, after = _disturbed(now.season, fitted, middle)
    return OwnRecovery(
        dates=dates,
        types=types,
        doses=doses,
        scatter=scatter,
        first_night_dips=first_night * typical * np.exp(scatter),
        days=days,
        over=_passed(dates, now.night) >= middle,
        disturbed_by=by,
        disturbed_after=after,
    )


def _session_z(now: Standing, posterior: Posterior) -> Floats:
    """Return the fitted sessions' standard scores of the state's own draws, (S, I)."""
    return np.asarray(posterior.draws[n.SESSION_Z].values[now.rows], float)


def _days(now: Standing, fitted: Season, dips: Floats, rates: Floats) -> Floats:
    """Return days until each dip is under the threshold, shape (S, I).

    The dip decays in a time of its own, which measures let run faster; the day is found
    where enough of it has run, between mornings in proportion.
    """
    enough = np.maximum(0.0, np.log(dips / now.threshold[:, None]) / rates)
    dates = fitted.first_night + DAY * np.arange(len(fitted.nights) + FARTHEST)
    speed = now.speed(dates)
    run = np.cumsum(speed, axis=1)
    rows = np.arange(len(dips))
    days = np.empty_like(enough)
    for session, night in enumerate(fitted.session_nights()):
        after = run[:, night : night + FARTHEST + 1] - run[:, [night]]
        whole = (after < enough[:, [session]]).sum(axis=1) - 1  # nights wholly needed
        whole = np.maximum(whole, 0)
        pace = speed[rows, np.minimum(night + whole + 1, speed.shape[1] - 1)]
        days[:, session] = 1 + whole + (enough[:, session] - after[rows, whole]) / pace
    return days


def _disturbed(season: Season, fitted: Season, days: Floats) -> tuple[list[str], Floats]:
    """Return what was logged before each session was over, and how many days after it."""
    data = season.data
    sessions = data[n.SESSION_DATE].values.astype("datetime64[D]")
    stressors = data[n.STRESSOR_DATE].values.astype("datetime64[D]")
    dates = np.concatenate([sessions, stressors])
    labels = [*data[n.SESSION_TYPE].values, *data[n.STRESSOR_LABEL].values]
    is_fitted = (sessions >= fitted.first_night - DAY) & (sessions < fitted.last_night)
    by: list[str] = []
    after = np.full(len(days), np.nan)
    for session, own in enumerate(np.flatnonzero(is_fitted)):
        gap = -_passed(dates, dates[own])
        gap[own] = -1.0
        early = np.flatnonzero((gap >= 0) & (gap < days[session]))
        first = early[np.argmin(gap[early])] if len(early) else None
        by.append(UNDISTURBED if first is None else str(labels[first]))
        if first is not None:
            after[session] = gap[first]
    return by, after


def _passed(dates: NDArray[np.datetime64], until: np.datetime64) -> Floats:
    return np.asarray((until - dates) / DAY, float)
