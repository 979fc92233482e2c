"""A picture of one night: its intervals, those taken out, and RMSSD segment by segment."""

from __future__ import annotations

import datetime as dt
from io import BytesIO
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slackwater.fitting.beats.merge import NightEntry
from slackwater.fitting.beats.night import Measured
from slackwater.fitting.beats.rmssd import SEGMENT_S, Segment
from slackwater.fitting.report import words

FORMATS: Final = ("svg", "png")
_INK: Final = "#1b2126"
_SOFT: Final = "#545e67"
_HAIR: Final = "#dcdfdf"
_PAPER: Final = "#fdfcf9"
_BEATS: Final = "#0072b2"
_OUT: Final = "#c24e00"
_SETTINGS: Final[Any] = {
    "svg.hashsalt": "slackwater",
    "font.family": ["DejaVu Sans"],
    "font.size": 9,
    "text.parse_math": False,
}
_SMALL: Final = 9
_ROOM: Final = 1.35  # of the middle interval, above and below what is kept
_MANY: Final = 5_000  # dots, which as vectors would make a file of megabytes
_STEPS: Final = (1 / 60, 1 / 12, 0.25, 0.5, 1, 2, 4, 8, 24, 48)  # hours between ticks


def draw_night(night: NightEntry, measured: Measured, form: str) -> bytes:
    """Return the picture's file.

    Args:
        night: the reading.
        measured: its beats.
        form: svg or png.
    """
    written = BytesIO()
    with mpl.rc_context(_SETTINGS):
        metadata: dict[str, str | None] | None = {"Date": None} if form == "svg" else None
        _figure(night, measured).savefig(
            written, format=form, dpi=150, facecolor=_PAPER, metadata=metadata
        )
    return written.getvalue()


def _figure(night: NightEntry, measured: Measured) -> Figure:
    figure = Figure(figsize=(8.4, 5.0), layout="constrained")
    beats, segments = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    _beats(beats, measured)
    _segments(segments, night)
    for axes in (beats, segments):
        axes.spines[["top", "right", "left"]].set_visible(False)
        axes.spines["bottom"].set_color(_HAIR)
        axes.tick_params(length=0, labelcolor=_SOFT)
        axes.grid(axis="y", color=_HAIR, linewidth=0.6)
        axes.set_axisbelow(True)
    _hours(segments, night)
    reading = words.milliseconds(night.range_ms)
    title = (
        f"Night of {words.day_name(str(night.date))} {night.date.year}: RMSSD {reading}, "
        f"{100 * night.kept_share:.1f} % of {night.beats} beats kept"
    )
    figure.suptitle(title, x=0.01, ha="left", color=_INK, fontsize=10.5)
    return figure


def _beats(axes: Axes, measured: Measured) -> None:
    recording, counted = measured.recording, measured.counted
    hours, rr_ms = recording.ends_s / 3600, recording.rr_ms
    low, high = np.quantile(rr_ms[counted], (0.001, 0.999))
    middle = float(np.median(rr_ms[counted]))
    low, high = min(low, middle / _ROOM), max(high, middle * _ROOM)
    room = 0.08 * (high - low)
    axes.set_ylim(low - room, high + room)
    axes.plot(
        hours[counted], rr_ms[counted], ".", color=_BEATS, markersize=2.0, alpha=0.55,
        markeredgewidth=0, rasterized=bool(counted.sum() > _MANY), label="kept",
    )  # fmt: skip
    out = ~counted
    if out.any():  # those off the scale are marked at its edge
        at_most = np.clip(rr_ms[out], low - 0.5 * room, high + 0.5 * room)
        axes.plot(
            hours[out], at_most, "x", color=_OUT, markersize=4, markeredgewidth=0.8,
            rasterized=bool(out.sum() > _MANY), label="taken out",
        )  # fmt: skip
    axes.set_title("intervals between beats, ms", loc="left", color=_SOFT, fontsize=_SMALL)
    _key(axes)


def _segments(axes: Axes, night: NightEntry) -> None:
    low, middle, high = night.range_ms
    axes.axhspan(low, high, color=_BEATS, alpha=0.18, linewidth=0)
    axes.axhline(middle, color=_BEATS, linewidth=1.0)
    known = [s for s in night.segments if np.isfinite(s.rmssd_ms)]
    _dots(axes, [s for s in known if s.counts], night, _INK, _INK, "counts")
    _dots(axes, [s for s in known if not s.counts], night, _OUT, _PAPER, "left out")
    axes.set_ylim(0, 1.12 * max(s.rmssd_ms for s in known if s.counts))
    title = "RMSSD of each five minutes, ms; line and band: the night, and how exactly it is known"
    axes.set_title(title, loc="left", color=_SOFT, fontsize=_SMALL)
    if not all(s.counts for s in known):
        _key(axes)


def _dots(
    axes: Axes, shown: list[Segment], night: NightEntry, edge: str, face: str, label: str
) -> None:
    if shown:
        hours = [min(s.from_hours + SEGMENT_S / 7200, night.to_hours) for s in shown]
        rmssd = [s.rmssd_ms for s in shown]
        axes.plot(hours, rmssd, "o", color=edge, markerfacecolor=face, markersize=3.5, label=label)


def _key(axes: Axes) -> None:
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, frameon=False, labelcolor=_SOFT,
        borderaxespad=0.1, handletextpad=0.2, markerscale=1.6,
    )  # fmt: skip


def _hours(axes: Axes, night: NightEntry) -> None:
    length = night.to_hours - night.from_hours
    step = next(s for s in _STEPS if length / s <= 9 or s == _STEPS[-1])
    axes.set_xlim(night.from_hours, night.to_hours)
    offset, midnight = 0.0, None
    if night.starts is not None:
        starts = dt.datetime.fromisoformat(night.starts)
        midnight = dt.datetime.combine(starts.date(), dt.time())
        offset = (starts - midnight).total_seconds() / 3600
    first = np.ceil((offset + night.from_hours) / step) * step
    ticks = np.arange(first, offset + night.to_hours + 1e-9, step)
    if midnight is None:
        labels = [f"{tick:.3g}" for tick in ticks]
        axes.set_xlabel("hours from the start of the recording", color=_SOFT)
    else:
        clocks = [midnight + dt.timedelta(hours=float(tick)) for tick in ticks]
        labels = [clock.strftime("%H:%M") for clock in clocks]
    axes.set_xticks(ticks - offset, labels)
