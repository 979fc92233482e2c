"""Pictures over a season: baseline under all readings, and readings against what was foretold."""

from __future__ import annotations

from typing import Final

import xarray as xr
from matplotlib.figure import Figure

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

FORETOLD_SHOWN: Final = 42
_TALL: Final = 210
_SEASON_KEY: Final = ["reading", "baseline over the season"]
_FORETOLD_KEY: Final = ["range foretold", "reading", "reading outside"]


def over_season(course: xr.Dataset) -> Picture:
    """Draw the whole season: readings and the baseline with its band.

    Args:
        course: the answer "course".
    """
    return drawn("season", lambda size: _over_season(course, size))


def _over_season(course: xr.Dataset, size: Size) -> Figure:
    room = key_room(size, _SEASON_KEY)
    fig = figure(size, room + _TALL + 30)
    ax = axes(fig, 34, room, 20, 30)
    nights = days_of(course[n.NIGHT])
    band(ax, nights, course["baseline_ms"], SERIES[0], LINES[0])
    readings(ax, nights, readings_of(course), 2.5)
    ax.set_xlim(nights[0] - DAY, nights[-1] + DAY)
    milliseconds_left(ax, size, [readings_of(course), course["baseline_ms"]])
    key(fig, size, _SEASON_KEY)
    dates_below(ax, size, nights[0], nights[-1])
    return fig


def foretold(worth: xr.Dataset) -> Picture:
    """Draw the latest readings over the range foretold for each.

    Args:
        worth: the answer "worth".
    """
    shown = worth.isel({n.NIGHT: slice(-FORETOLD_SHOWN, None)})
    return drawn("foretold", lambda size: _foretold(shown, size))


def _foretold(worth: xr.Dataset, size: Size) -> Figure:
    room = key_room(size, _FORETOLD_KEY)
    fig = figure(size, room + _TALL + 30)
    ax = axes(fig, 34, room, 20, 30)
    nights, found = days_of(worth[n.NIGHT]), worth["rmssd_ms"].values
    low, high = (worth["foretold"].sel(bound=bound).values for bound in ("low", "high"))
    ax.vlines(nights, low, high, color=SERIES[0], alpha=0.35, linewidth=size.width / 100 + 1)
    inside = worth["inside"].values
    ax.plot(nights[inside], found[inside], "o", color=INK, markersize=4, markeredgewidth=0)
    ax.plot(
        nights[~inside], found[~inside], "D", color=INK, markersize=5, markerfacecolor=PAPER,
        markeredgewidth=1.4,
    )  # fmt: skip
    ax.set_xlim(nights[0] - DAY, nights[-1] + DAY)
    milliseconds_left(ax, size, [worth["rmssd_ms"], worth["foretold"]])
    key(fig, size, _FORETOLD_KEY)
    dates_below(ax, size, nights[0], nights[-1])
    return fig
