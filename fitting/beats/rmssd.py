"""RMSSD from five-minute segments, and how exactly it is known.

RMSSD is the root of the mean of the squared successive differences (Task Force of the ESC and
NASPE 1996, Circulation 93:1043-1065, which also sets five minutes as the length of a short
recording). Segments follow each other from the window's start. A segment counts where at least
80 % of its intervals are kept. The night's RMSSD is the root of the mean of all squared
differences of the segments that count, so that a segment weighs by its differences, and one
segment alone gives its own RMSSD.

How exactly it is known: segment j holds n_j squared differences that sum to S_j. Their ratio
theta = sum S / sum n is the squared RMSSD, and to first order

    theta-hat - theta = sum_j (S_j - theta n_j) / sum n

the mean of a series with a memory, as breathing and sleep stages outlast a segment. Its variance
is that of independent segments times (1 + r) / (1 - r), with r the correlation of neighbours, of
which the bias in short series is taken off, (1 + 3 r) / m (Kendall 1954, Biometrika 41:403-404),
and which is held within 0 to 0.8. As ln RMSSD is half of ln theta, its standard error is half that
of theta, over theta (delta method). Where fewer than eight segments count, eight equal parts of
the window take their place; what lasts longer than the window shows in none of them.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.beats.artefacts import differences
from slackwater.fitting.beats.recording import Bools, Floats, Recording

Ints = NDArray[np.int64]

SEGMENT_S: Final = 300.0
LEAST_KEPT: Final = 0.8  # of a segment's intervals; common practice, no source
FEWEST_PARTS: Final = 8
LONGEST_MEMORY: Final = 0.8  # beyond, a night is too short to tell it from a trend


class Segment(NamedTuple):
    """One segment of the window.

    Attributes:
        from_hours: its start, hours from the start of the recording.
        beats: intervals that end in it.
        kept: how many of them the rule keeps.
        differences: successive differences between them.
        rmssd_ms: from them alone; NaN where there are none.
        counts: whether it counts for the night.
    """

    from_hours: float
    beats: int
    kept: int
    differences: int
    rmssd_ms: float
    counts: bool


class Rmssd(NamedTuple):
    """The RMSSD of a window.

    Attributes:
        rmssd_ms: in ms; NaN where no difference counts.
        ln_sd: standard error of its natural logarithm.
        segments: what it is made from.
        counted: which intervals lie in a segment that counts and are kept, shape (I,).
    """

    rmssd_ms: float
    ln_sd: float
    segments: tuple[Segment, ...]
    counted: Bools


def rmssd(recording: Recording, kept: Bools, since_s: float, until_s: float) -> Rmssd:
    """Return the RMSSD of a window.

    Args:
        recording: the intervals of the window.
        kept: which of them count, shape (I,).
        since_s: the window's start, seconds from that of the recording.
        until_s: its end.
    """
    squares = differences(recording, kept) ** 2
    parts = max(1, int(np.ceil((until_s - since_s) / SEGMENT_S)))
    place = _place(recording.ends_s, since_s, SEGMENT_S, parts)
    beats = np.bincount(place, minlength=parts)
    keeps = np.bincount(place[kept], minlength=parts)
    sums, counts = _sums(squares, place, parts)
    counting = (counts > 0) & (keeps >= LEAST_KEPT * beats)
    segments = tuple(
        Segment(
            (since_s + SEGMENT_S * j) / 3600,
            int(beats[j]),
            int(keeps[j]),
            int(counts[j]),
            float(np.sqrt(sums[j] / counts[j])) if counts[j] else float("nan"),
            bool(counting[j]),
        )
        for j in np.flatnonzero(beats)
    )
    counted = kept & counting[place]
    if not counting.any():
        return Rmssd(float("nan"), float("nan"), segments, counted)
    mean = sums[counting].sum() / counts[counting].sum()
    if counting.sum() < FEWEST_PARTS:
        parts = FEWEST_PARTS
        finer = _place(recording.ends_s, since_s, (until_s - since_s) / parts, parts)
        squares[~counting[place]] = np.nan
        sums, counts = _sums(squares, finer, parts)
    else:
        sums, counts = np.where(counting, sums, 0.0), np.where(counting, counts, 0)
    return Rmssd(float(np.sqrt(mean)), ln_standard_error(sums, counts), segments, counted)


def ln_standard_error(sums: Floats, counts: Floats) -> float:
    """Return the standard error of half the logarithm of sum(sums) / sum(counts).

    Args:
        sums: sums of squared differences of the parts, in the order of time.
        counts: how many each part sums; 0 where it has none.
    """
    total, used = counts.sum(), int((counts > 0).sum())
    if used < 2 or sums.sum() <= 0:
        return float("nan")
    mean = sums.sum() / total
    off = sums - mean * counts
    alike = float(off[1:] @ off[:-1] / (off @ off)) if off.any() else 0.0
    memory = min(max(alike + (1 + 3 * alike) / used, 0.0), LONGEST_MEMORY)
    variance = off @ off * used / (used - 1) * (1 + memory) / (1 - memory)
    return float(np.sqrt(variance) / total / mean / 2)


def _place(ends_s: Floats, since_s: float, length_s: float, parts: int) -> Ints:
    """Return which part each interval ends in; one that ends on an edge, in that before it."""
    place = np.ceil((ends_s - since_s) / length_s) - 1
    return np.asarray(np.clip(place, 0, parts - 1), np.int64)


def _sums(squares: Floats, place: Ints, parts: int) -> tuple[Floats, Floats]:
    there = ~np.isnan(squares)
    sums = np.bincount(place[there], squares[there], minlength=parts)
    counts = np.bincount(place[there], minlength=parts)
    return np.asarray(sums, float), np.asarray(counts, float)
