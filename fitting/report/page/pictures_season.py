"""Pictures of a season: baseline under all readings, readings against what was foretold of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slackwater.fitting.answers.course import Course
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report import words
from slackwater.fitting.report.page.canvas import (
    DIFFERENCE,
    FORETOLD,
    HAIR,
    INK,
    LINES,
    PAPER,
    SHADE,
    SOFT,
    Size,
    axes,
    figure,
    write,
)
from slackwater.fitting.report.page.canvas import picture as drawn
from slackwater.fitting.report.page.part import Picture
from slackwater.fitting.report.page.scales import (
    dates_below,
    days_of,
    milliseconds_left,
    round_ticks,
)
from slackwater.fitting.report.page.series import band, key, key_room, readings, readings_of
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.season import DAY

_TALL: Final = 210
_SEASON_KEY: Final = ["reading", "baseline over the season"]
_FORETOLD_KEY: Final = ["range foretold", "reading", "reading outside"]
_RESIDUAL_KEY: Final = ["mean residual with its range", "by chance"]


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
    band(ax, nights, shown["baseline_ms"], SOFT, LINES[1], SHADE)
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
    ax.vlines(nights, low, high, color=FORETOLD, alpha=0.35, linewidth=size.width / 100 + 1)
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


class Off(NamedTuple):
    """How readings of one kind lie off, percent.

    Attributes:
        label: which readings.
        value, by_chance: how far they lie off, and how far chance takes them: low, middle, high.
    """

    label: str
    value: Interval
    by_chance: Interval


def residual_means(name: str, rows: Sequence[Off]) -> Picture:
    """Draw how readings of each kind lie off, over what chance alone makes.

    Args:
        name: what no other picture of the page is called.
        rows: from left to right.
    """
    return drawn(name, lambda size: _residual_means(rows, size))


def _residual_means(rows: Sequence[Off], size: Size) -> Figure:
    room = key_room(size, _RESIDUAL_KEY)
    fig = figure(size, room + _TALL + 34)
    ax = axes(fig, 40, room, 12, 34)
    places = range(len(rows))
    broad = 0.7 * (size.width - 52) / len(rows)
    low, high = ([row.by_chance[end] for row in rows] for end in (0, 2))
    ax.vlines(places, low, high, color=SHADE, linewidth=broad)
    ax.axhline(0, color=SOFT, linewidth=1.2)
    ax.vlines(places, *_ends(rows), color=DIFFERENCE, linewidth=4, alpha=0.55)
    ax.plot(places, [row.value[1] for row in rows], "o", color=DIFFERENCE, markersize=7)
    ax.set_xlim(-0.6, len(rows) - 0.4)
    ax.set_xticks(places, [row.label for row in rows], fontsize=size.text)
    _percent_left(ax, size)
    key(fig, size, _RESIDUAL_KEY)
    return fig


def _ends(rows: Sequence[Off]) -> tuple[list[float], list[float]]:
    return [row.value[0] for row in rows], [row.value[2] for row in rows]


def night_pairs(before: Floats, after: Floats) -> Picture:
    """Draw each night's residual over that of the night before.

    Args:
        before: percent, of the first night of each pair.
        after: of the second.
    """
    return drawn("night-pairs", lambda size: _night_pairs(before, after, size))


def _night_pairs(before: Floats, after: Floats, size: Size) -> Figure:
    fig = figure(size, 300)
    ax = axes(fig, 40, 26, 12, 48)
    ax.axhline(0, color=SOFT, linewidth=1.2)
    ax.axvline(0, color=SOFT, linewidth=1.2)
    ax.plot(before, after, "o", color=INK, markersize=4, markeredgewidth=0, alpha=0.7)
    _percent_left(ax, size, "a night, %")
    ticks = ax.get_yticks()
    ax.set_xlim(ax.get_ylim())
    ax.set_xticks(ticks, [words.signed(tick, 0) for tick in ticks], fontsize=size.text)
    place = {"ha": "right", "va": "top", "transform": ax.transAxes, "color": SOFT}
    write(ax, 1.0, -0.14, "the night before, % →", size, **place)
    return fig


def _percent_left(ax: Axes, size: Size, what: str = "%") -> None:
    """Scale the axes in percent around 0, alike on both sides."""
    most = 1.05 * max(map(abs, ax.get_ylim()))
    ticks = round_ticks(-most, most)
    ax.set_ylim(-most, most)
    ax.set_yticks(ticks, [words.signed(tick, 0) for tick in ticks], fontsize=size.text)
    ax.grid(axis="y", color=HAIR, linewidth=1)
    write(ax, 0.0, 1.02, what, size, ha="left", va="bottom", transform=ax.transAxes, color=SOFT)
