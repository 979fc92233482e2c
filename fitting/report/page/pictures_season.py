"""Pictures over a season: baseline under all readings, and readings against what was foretold."""

from __future__ import annotations

from typing import Final

import xarray as xr
from matplotlib.figure import Figure

from slackwater.fitting.answers.course import Course
from slackwater.fitting.report.page.canvas import (
    INK,
    LINES,
    PAPER,
    SERIES,
    Size,
    axes,
    figure,
)
from slackwater.fitting.report.page.canvas import picture as drawn
from slackwater.fitting.report.page.part import Picture
from slackwater.fitting.report.page.scales import dates_below, days_of, milliseconds_left
from slackwater.fitting.report.page.series import band, key, key_room, readings, readings_of
from slackwater.model import names as n
from slackwater.model.season import DAY

_TALL: Final = 210
_SEASON_KEY: Final = ["reading", "baseline over the season"]
_FORETOLD_KEY: Final = ["range foretold", "reading", "reading outside"]


def over_season(course: Course) -> Picture:
    """Draw the whole season: readings and the baseline with its band.

    Args:
        course: the answer "course".
    """
    return drawn("season", lambda size: _over_season(course.nights, size))


def _over_season(shown: xr.Dataset, size: Size) -> Figure:
    room = key_room(size, _SEASON_KEY)
    fig = figure(size, room + _TALL + 30)
    ax = axes(fig, 34, room, 20, 30)
    nights = days_of(shown[n.NIGHT])
    band(ax, nights, shown["baseline_ms"], SERIES[0], LINES[0])
    readings(ax, nights, readings_of(shown), 2.5)
    ax.set_xlim(nights[0] - DAY, nights[-1] + DAY)
    milliseconds_left(ax, size, [readings_of(shown), shown["baseline_ms"]])
    key(fig, size, _SEASON_KEY)
    dates_below(ax, size, nights[0], nights[-1])
    return fig


def foretold(judged: xr.Dataset) -> Picture:
    """Draw readings over the range foretold for each.

    Args:
        judged: nights of the answer "worth".
    """
    return drawn("foretold", lambda size: _foretold(judged, size))


def _foretold(judged: xr.Dataset, size: Size) -> Figure:
    room = key_room(size, _FORETOLD_KEY)
    fig = figure(size, room + _TALL + 30)
    ax = axes(fig, 34, room, 20, 30)
    nights, found = days_of(judged[n.NIGHT]), judged["rmssd_ms"].values
    low, high = (judged["foretold_ms"].sel(bound=bound).values for bound in ("low", "high"))
    ax.vlines(nights, low, high, color=SERIES[0], alpha=0.35, linewidth=size.width / 100 + 1)
    inside = judged["inside"].values
    ax.plot(nights[inside], found[inside], "o", color=INK, markersize=4, markeredgewidth=0)
    ax.plot(
        nights[~inside], found[~inside], "D", color=INK, markersize=5, markerfacecolor=PAPER,
        markeredgewidth=1.4,
    )  # fmt: skip
    ax.set_xlim(nights[0] - DAY, nights[-1] + DAY)
    milliseconds_left(ax, size, [judged["rmssd_ms"], judged["foretold_ms"]])
    key(fig, size, _FORETOLD_KEY)
    dates_below(ax, size, nights[0], nights[-1])
    return fig
