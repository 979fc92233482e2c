"""Pictures of the days around today: the state under the readings, the coming readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slackwater.fitting.answers.course import Course
from slackwater.fitting.answers.forecast import Forecast
from slackwater.fitting.report.page.canvas import (
    AFTER_TRAINING,
    FORETOLD,
    HAIR,
    INK,
    LINES,
    MARKERS,
    SHADE,
    SOFT,
    STATE,
    Size,
    axes,
    figure,
    shortened,
    write,
)
from slackwater.fitting.report.page.canvas import picture as drawn
from slackwater.fitting.report.page.part import Picture
from slackwater.fitting.report.page.scales import dates_below, days_of, milliseconds_left
from slackwater.fitting.report.page.series import band, key, key_room, readings, readings_of
from slackwater.model import names as n
from slackwater.model.season import DAY

NIGHTS_SHOWN: Final = 28
MOST_LANES: Final = 10
_KEY: Final = ["reading", "state", "baseline", "to come"]
HALF_DAY: Final = np.timedelta64(12, "h")
_MARKER: Final = 4.5
_FEW: Final = 120  # nights whose dots have room to be large
_MARKS: Final = {"session": "s", "measure": "^", "stressor": "D"}
_WAYS: Final = (FORETOLD, AFTER_TRAINING)  # to spend today
_LABELS: Final = 140  # pixels beside lanes, where there is room


def recent(course: Course, coming: Forecast) -> Picture:
    """Draw the latest weeks: readings, state, baseline, sessions, and rest to come.

    Args:
        course: the answer "course".
        coming: the answer "forecast", at rest.
    """
    return drawn("recent", lambda size: _recent(course, coming, size))


def _recent(course: Course, coming: Forecast, size: Size) -> Figure:
    shown = latest(course)
    nights = days_of(shown[n.NIGHT])
    lanes = dict([*lanes_of(course).items()][:MOST_LANES])
    height = 18 if size.wide else 34
    below = 30 + height * len(lanes)
    room = key_room(size, _KEY)
    fig = figure(size, room + 210 + below)
    left = _LABELS if size.wide and lanes else 34
    ax = axes(fig, left, room, 20, below)
    band(ax, nights, shown["baseline_ms"], SOFT, LINES[1], SHADE)
    band(ax, nights, shown["state_ms"], STATE, LINES[0])
    ahead = xr.concat([shown["state_ms"].isel({n.NIGHT: [-1]}), coming.nights["state_ms"]], n.NIGHT)
    band(ax, days_of(ahead[n.NIGHT]), ahead, STATE, LINES[2])
    readings(ax, nights, readings_of(shown), _MARKER)
    last = days_of(coming.nights[n.NIGHT])[-1]
    ax.set_xlim(nights[0] - DAY, last + DAY)
    ax.axvline(nights[-1], color=HAIR, linewidth=1.5, zorder=0)
    series = [readings_of(shown), shown["state_ms"], shown["baseline_ms"], ahead]
    milliseconds_left(ax, size, series)
    key(fig, size, _KEY)
    dates_below(ax, size, nights[0], last, drop=height * len(lanes))
    _lanes(ax, lanes, size, height)
    return fig


class Lane(NamedTuple):
    """What was logged of one name in some nights.

    Attributes:
        label: the name.
        kind: session, measure or stressor.
        days: the days.
    """

    label: str
    kind: str
    days: list[np.datetime64]


def stretch(nights: xr.Dataset, lanes: Sequence[Lane]) -> Picture:
    """Draw a stretch of nights: readings, state and baseline, and what was logged under them.

    Args:
        nights: of the answer "course".
        lanes: what was logged in them; at most `MOST_LANES` are drawn.
    """
    return drawn("stretch", lambda size: _stretch(nights, lanes[:MOST_LANES], size))


def _stretch(shown: xr.Dataset, lanes: Sequence[Lane], size: Size) -> Figure:
    nights = days_of(shown[n.NIGHT])
    height = 18 if size.wide else 34
    below = 30 + height * len(lanes)
    entries = _KEY[:3]
    room = key_room(size, entries)
    fig = figure(size, room + 210 + below)
    ax = axes(fig, _LABELS if size.wide and lanes else 34, room, 20, below)
    band(ax, nights, shown["baseline_ms"], SOFT, LINES[1], SHADE)
    band(ax, nights, shown["state_ms"], STATE, LINES[0])
    readings(ax, nights, readings_of(shown), _MARKER if len(nights) <= _FEW else _MARKER / 2)
    ax.set_xlim(nights[0] - DAY, nights[-1] + DAY)
    milliseconds_left(ax, size, [readings_of(shown), shown["state_ms"], shown["baseline_ms"]])
    key(fig, size, entries)
    dates_below(ax, size, nights[0], nights[-1], drop=height * len(lanes))
    told: dict[str, list[np.datetime64]] = {}
    for lane in lanes:
        named_before = lane.label in told
        told[f"{lane.label}, {lane.kind}" if named_before else lane.label] = lane.days
    _lanes(ax, told, size, height, [_MARKS[lane.kind] for lane in lanes])
    return fig


def latest(course: Course) -> xr.Dataset:
    """Return the nights of a course that are drawn."""
    return course.nights.isel({n.NIGHT: slice(-NIGHTS_SHOWN, None)})


def lanes_of(course: Course) -> dict[str, list[np.datetime64]]:
    """Return the days of each type's sessions in that time, most often trained first."""
    first = latest(course)[n.NIGHT].values[0]
    found: dict[str, list[np.datetime64]] = {}
    for session in course.sessions:
        if session.date >= first:
            found.setdefault(session.type, []).append(session.date)
    return dict(sorted(found.items(), key=lambda item: -len(item[1])))


def _lanes(
    ax: Axes,
    lanes: dict[str, list[np.datetime64]],
    size: Size,
    height: float,
    marks: Sequence[str] = (),
) -> None:
    """Draw below the axes a lane for each name, with a mark on each of its days."""
    tall = ax.bbox.height
    low, high = ax.get_xlim()
    for row, (label, days) in enumerate(lanes.items()):
        middle = -(10 + height * row + (height / 2 if size.wide else 20)) / tall
        across: Any = ax.get_xaxis_transform()
        ax.plot([low, high], [middle] * 2, color=HAIR, linewidth=1, transform=across, clip_on=False)
        ax.plot(
            days, [middle] * len(days), marks[row] if marks else "s", color=INK, markersize=5,
            transform=across, clip_on=False,
        )  # fmt: skip
        if size.wide:
            short = shortened(label, _LABELS - 20, size)
            place = {"ha": "right", "va": "center", "transform": across}
            write(ax, low - 0.4, middle, short, size, **place)
        else:
            short = shortened(label, size.width - 60, size)
            place = {"ha": "left", "va": "bottom", "transform": across}
            write(ax, low, middle + 5 / tall, short, size, color=SOFT, **place)


def fan(told: Mapping[str, Forecast]) -> Picture:
    """Draw the coming readings for one or two ways to spend today.

    Args:
        told: the answers "forecast", by how today is spent.
    """
    return drawn("fan", lambda size: _fan(told, size))


def _fan(told: Mapping[str, Forecast], size: Size) -> Figure:
    top, tall = 22 + 20 * len(told), 200
    fig = figure(size, top + tall + 30)
    ax = axes(fig, 34, top, 20, 30)
    for which, (words, answer) in enumerate(told.items()):
        nights, line = days_of(answer.nights[n.NIGHT]), LINES[which]
        band(ax, nights, answer.nights["rmssd_ms"], _WAYS[which], line, marker=MARKERS[which])
        y = 1 + (top - 12 - 20 * which) / tall
        ax.plot(
            [0.0, 26 / size.width], [y] * 2, color=_WAYS[which], linestyle=line,
            marker=MARKERS[which], markersize=5, transform=ax.transAxes, clip_on=False,
        )  # fmt: skip
        short = shortened(words, size.width - 100, size)
        write(ax, 40 / size.width, y, short, size, va="center", transform=ax.transAxes)
    ax.set_xlim(nights[0] - HALF_DAY, nights[-1] + HALF_DAY)
    milliseconds_left(ax, size, [answer.nights["rmssd_ms"] for answer in told.values()])
    dates_below(ax, size, nights[0], nights[-1])
    return fig
