"""Invented nights: intervals with breathing, slow changes, sleep stages and artefacts."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]


def night(
    rng: np.random.Generator, hours: float = 7.0, middle_ms: float = 1060, rmssd_ms: float = 62.0
) -> Floats:
    """Return a night's intervals in ms, rounded to whole ms as recorders write them.

    Breathing makes most of the beat-to-beat differences; how deep it goes wanders with a time
    constant of ten minutes and a standard deviation of 0.25 in ln, as the 5-minute RMSSD of the
    four open recordings of a day does by night (0.19 to 0.31; correlation of neighbours 0.6).
    """
    beats = int(hours * 3_600_000 / middle_ms)
    decay = np.exp(-middle_ms / 600_000)
    depth = lfilter([np.sqrt(1 - decay**2)], [1, -decay], rng.standard_normal(beats + 5000))[5000:]
    swing, turn = 0.9, 2 * np.pi * middle_ms / 4200  # a breath of 4.2 s
    breath = lfilter([1], [1, -2 * swing * np.cos(turn), swing**2], rng.standard_normal(beats))
    breath *= np.exp(0.25 * depth)
    breath *= rmssd_ms / np.sqrt(np.mean(np.diff(breath) ** 2))
    slow = np.cumsum(rng.standard_normal(beats)) * 0.6
    slow -= np.linspace(0, slow[-1], beats)
    return np.asarray(np.round(np.clip(middle_ms + slow + breath, 350, 1950)))


def with_artefacts(rr_ms: Floats, rng: np.random.Generator, each_hour: float = 12.0) -> Floats:
    """Return the same with missed beats (two intervals in one) and early ones."""
    rr_ms = rr_ms.copy()
    count = int(each_hour * rr_ms.sum() / 3_600_000)
    places = np.sort(rng.choice(np.arange(10, len(rr_ms) - 10, 5), count, replace=False))
    missed = places[::2]
    for place in places[1::2]:
        early = 0.35 * rr_ms[place]
        rr_ms[place] -= np.round(early)
        rr_ms[place + 1] += np.round(early)
    rr_ms[missed] += rr_ms[missed + 1]
    return np.delete(rr_ms, missed + 1)


def write_intervals(path: Path, rr_ms: Floats, header: str = "") -> Path:
    """Write one interval a line."""
    lines = [*([header] if header else []), *(f"{value:g}" for value in rr_ms)]
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def write_stamped(path: Path, rr_ms: Floats, first: dt.datetime) -> Path:
    """Write a table of the time at which each interval ended, and the interval."""
    ends = first + np.cumsum(rr_ms) * np.array(1000, "timedelta64[us]").astype(object)
    lines = [
        f"{t.isoformat(timespec='milliseconds')},{v:g}" for t, v in zip(ends, rr_ms, strict=True)
    ]
    path.write_text("\n".join(["time,rr_ms", *lines, ""]), encoding="utf-8")
    return path
