"""The beats of one recording, as intervals in a row, and what is wrong with a file of them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.intake.problems import Problem
from slackwater.model.errors import Reason, SlackwaterError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_DAYS: Final = 7
DAY_S: Final = 86_400.0
_GRAINS: Final = (60.0, 10.0, 1.0, 0.1)


class RecordingError(SlackwaterError):
    """A file of beats cannot be read as it is.

    Attributes:
        problem: what is wrong with it, where, and how to mend it.
    """

    def __init__(self, problem: Problem) -> None:
        """Take the problem; it is the error's text."""
        super().__init__(str(problem))
        self.problem = problem


@dataclass(frozen=True)
class Recording:
    """Intervals between beats, in the order in which they were recorded, I of them.

    Attributes:
        rr_ms: the intervals, ms, shape (I,).
        ends_s: when the beat came that ends each, seconds from the start, shape (I,).
        joined: whether each begins with the beat that the one before it ended with, shape (I,).
        sinus: whether both of its beats came from the sinus node, as far as the file says.
        starts: the local clock at the start; None where it is not known.
        read_as: how the file was understood.
        day: the date that the file's header gives without a clock; None where it gives none.
    """

    rr_ms: Floats
    ends_s: Floats
    joined: Bools
    sinus: Bools
    starts: dt.datetime | None
    read_as: Reason
    day: dt.date | None = None

    @property
    def length_s(self) -> float:
        """Seconds from the start to the last beat."""
        return float(self.ends_s[-1]) if self.ends_s.size else 0.0

    def clock(self, seconds: float) -> dt.datetime | None:
        """Return the local clock so many seconds after the start, None where it is not known."""
        return self.starts and self.starts + dt.timedelta(seconds=seconds)

    def between(self, since_s: float, until_s: float) -> Recording:
        """Return the intervals that end within a window, seconds from the start; both count."""
        inside = (self.ends_s >= since_s) & (self.ends_s <= until_s)
        joined = self.joined[inside]
        joined[:1] = False
        return replace(
            self,
            rr_ms=self.rr_ms[inside],
            ends_s=self.ends_s[inside],
            joined=joined,
            sinus=self.sinus[inside],
        )


def from_intervals(
    rr_ms: Floats,
    read_as: Reason,
    starts: dt.datetime | None = None,
    day: dt.date | None = None,
) -> Recording:
    """Return a recording of intervals without times; a NaN is a gap of unknown length."""
    known = ~np.isnan(rr_ms)
    joined = known.copy()
    joined[1:] &= known[:-1]
    joined[:1] = False
    values = rr_ms[known]
    ends = np.cumsum(np.maximum(values, 0.0)) / 1000
    sinus = np.ones(values.shape, bool)
    return Recording(values, ends, joined[known], sinus, starts, read_as, day)


def from_timed_intervals(
    rr_ms: Floats, times_s: Floats, read_as: Reason, first: dt.datetime | None
) -> Recording:
    """Return a recording of intervals with the time at which each ended.

    Where a time lies later than the interval explains, beats are missing, and the chain is broken.
    What the times are off by otherwise (whole seconds, packets of a few beats) is told from the
    recording itself: a gap is more than half the middle interval, more than three times what nine
    in ten times are off by, and more than a step of the clock.

    Args:
        rr_ms: intervals, ms; NaN where one is missing.
        times_s: seconds, of any origin, never going back.
        read_as: how the file was understood.
        first: the local clock at the first time; None where it is not known.
    """
    known = ~np.isnan(rr_ms)
    rr_ms, times_s, after_known = rr_ms[known], times_s[known], np.append(False, known[:-1])[known]
    began = times_s[0] - rr_ms[0] / 1000
    off = np.abs(np.diff(times_s) - rr_ms[1:] / 1000)
    bound = 0.0
    if off.size:
        bound = max(np.median(rr_ms) / 2000, 3 * np.quantile(off, 0.9), 1.05 * _grain(times_s))
    joined = after_known & np.append(False, off <= bound)
    starts = first and first - dt.timedelta(seconds=float(rr_ms[0]) / 1000)
    sinus = np.ones(rr_ms.shape, bool)
    return Recording(rr_ms, times_s - began, joined, sinus, starts, read_as)


def _grain(times_s: Floats) -> float:
    """Return the step of the clock that times are written by, s."""
    since = times_s - times_s[0]
    return next((g for g in _GRAINS if np.abs(since - g * np.round(since / g)).max() < 1e-6), 0.0)


def from_beats(
    times_s: Floats,
    read_as: Reason,
    first: dt.datetime | None,
    sinus: Bools | None = None,
    broken: Bools | None = None,
) -> Recording:
    """Return a recording of the times of beats.

    Args:
        times_s: when each beat came, seconds, never going back, shape (I + 1,).
        read_as: how the file was understood.
        first: the local clock at the first beat; None where it is not known.
        sinus: which beats came from the sinus node; all if left out.
        broken: before which beats the chain is broken; before none if left out.
    """
    good = np.ones(times_s.shape, bool) if sinus is None else sinus
    rr_ms = 1000 * np.diff(times_s)
    whole = np.ones(rr_ms.shape, bool) if broken is None else ~broken[1:]
    joined = whole & np.append(False, whole[:-1])
    joined[:1] = False
    return Recording(
        rr_ms[whole],
        (times_s[1:] - times_s[0])[whole],
        joined[whole],
        (good[1:] & good[:-1])[whole],
        first,
        read_as,
    )
