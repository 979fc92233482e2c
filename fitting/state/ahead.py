"""The state carried forward from the morning of the last reading."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.state.standing import FARTHEST as FARTHEST
from slackwater.fitting.state.standing import Event, Standing
from slackwater.model import paths
from slackwater.model.dynamics import Floats
from slackwater.model.levels import State, Steps, by_night
from slackwater.model.season import DAY


class Ahead(NamedTuple):
    """The mornings to come, S draws, H of them; the first is the next morning.

    Attributes:
        dates: their dates, shape (H,).
        dip: all dips together, shape (S, H), ln.
        shown: what of it the readings show: a session's first night may hold back a part.
        shift: what measures and the day of the week add to the readings, shape (S, H), ln.
        level: baseline, simulated, shape (S, H), ln ms.
        reading: reading, simulated, shape (S, H), ln ms.
        expected: mean of the level for each draw, shape (S, H), ln ms.
        level_variance: its variance for each draw, shape (S, H).
    """

    dates: NDArray[np.datetime64]
    dip: Floats
    shown: Floats
    shift: Floats
    level: Floats
    reading: Floats
    expected: Floats
    level_variance: Floats


def look_ahead(
    now: Standing, nights: int, planned: list[Event], measures: tuple[str, ...] = ()
) -> Ahead:
    """Carry the state forward over the coming nights.

    Args:
        now: the state.
        nights: how many, 1 or more.
        planned: sessions beside those already logged.
        measures: interventions in use on every coming night.
    """
    dip, shown, dates = dips_ahead(now, nights, planned, measures)
    moving, draws = paths.motion(now.draws), len(dip)
    # Night after night, so that every horizon begins alike.
    normal = [rng.standard_normal((nights, draws)) for rng in now.rng().spawn(4)]
    free = State(now.level_draws, np.zeros((2, 2, draws)))
    known, steps = now.level, Steps(*np.zeros((3, nights)))
    level, passing, expected, variance = (by_night(draws, nights) for _ in range(4))
    for night in range(nights):
        free, known = free.after(moving, steps, night), known.after(moving, steps, night)
        spread = np.sqrt(np.diagonal(free.covariance).T)
        moved = free.mean + spread * np.stack([normal[0][night], normal[1][night]])
        free = State(moved, np.zeros_like(free.covariance))
        level[:, night], passing[:, night] = moved
        expected[:, night], variance[:, night] = known.level()
    noise = paths.noise_variance(now.draws, normal[2].T)
    shift = _shift(now, dates, measures)
    reading = level + passing - shown + shift + np.sqrt(noise) * normal[3].T
    return Ahead(dates, dip, shown, shift, level, reading, expected, variance)


def dips_ahead(
    now: Standing,
    nights: int,
    planned: Sequence[Event] = (),
    measures: tuple[str, ...] = (),
) -> tuple[Floats, Floats, NDArray[np.datetime64]]:
    """Return all dips together, what readings show of them (S, nights), and the dates."""
    dates = now.night + DAY * np.arange(1, nights + 1)
    if not planned and not measures and nights <= len(now.on_rest[0].T):
        dip, shown = (each[:, :nights] for each in now.on_rest)  # asked for by most answers
        return dip, shown, dates
    speed = now.speed(dates)
    for measure in measures:
        speed *= np.exp(now.log_ratio(measure)[:, None] * _not_logged(now, measure, dates))
    return *now.dips_ahead([*now.pending, *planned], speed), dates


def dips_by_group(now: Standing, morning: int) -> Floats:
    """Return what is left of every group's dips on a morning, shape (S, G), ln.

    Args:
        now: the state.
        morning: how many after the state's own, with what is logged taken in.
    """
    if not morning:
        return now.dips
    dates = now.night + DAY * np.arange(1, morning + 1)
    path, _ = now.run_on(now.pending, now.speed(dates), now.luck_of(now.pending))
    return np.asarray(path[:, -1])


def _not_logged(now: Standing, measure: str, dates: NDArray[np.datetime64]) -> Floats:
    """Return 1 on the nights on which the log does not have a measure act, else 0."""
    logged = now.season.interventions
    if measure not in logged:
        return np.ones(len(dates))
    return np.asarray(~now.season.applied(dates)[logged.index(measure)], float)


def _shift(now: Standing, dates: NDArray[np.datetime64], measures: tuple[str, ...]) -> Floats:
    """Return what the days and measures, logged or in use, add to the readings, (S, nights)."""
    shift = paths.rhythm(now.draws, dates)
    for by_log in paths.lifts(now.draws, now.season, dates).values():
        shift += by_log
    for measure in measures:
        shift += now.lift(measure)[:, None] * _not_logged(now, measure, dates)
    return shift


def days_until_baseline(
    now: Standing, planned: list[Event], measures: tuple[str, ...] = ()
) -> Floats:
    """Return days from the last reading's morning until back at baseline, shape (S,).

    Back is when the dip falls under the threshold after the last logged or planned
    session was felt, and 0 where it already lies under it and none is to come; between
    mornings by the dip's exponential course. `FARTHEST` where it takes longer.
    """
    events = [*now.pending, *planned]
    last = max((e.night for e in events), default=0)
    later, _, _ = dips_ahead(now, last + FARTHEST, planned, measures)
    dip = np.concatenate([now.dips.sum(axis=1, keepdims=True), later], axis=1)
    above = dip > now.threshold[:, None]
    above[:, :last] = True  # not back before the last session is felt
    first_under = np.argmin(above, axis=1)
    never = above.all(axis=1)
    rows = np.arange(len(dip))
    before = np.maximum(first_under - 1, 0)
    left, right = dip[rows, before], dip[rows, first_under]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.log(left / now.threshold) / np.log(left / right)
    whole = (first_under == last) | ~np.isfinite(part)  # at once, or with the last session
    days = np.where(whole, first_under, before + np.clip(part, 0.0, 1.0))
    return np.where(never, float(last + FARTHEST), days)
