"""Pictures of recovery by type: the dip under the threshold, the chance to be recovered."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slackwater.fitting.answers.intervals import BOUND, BOUNDS
from slackwater.fitting.answers.recovery import Recovery
from slackwater.fitting.report import words
from slackwater.fitting.report.page.canvas import (
    HAIR,
    INK,
    LINES,
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
from slackwater.fitting.report.page.scales import round_ticks
from slackwater.model import names as n

MOST_TYPES: Final = 12
_MOST_DAYS: Final = 10  # columns of chances
_BOLD: Final = 0.85  # share of the room that leaves bold text enough


def dips(recovery: Recovery) -> Picture:
    """Draw a panel for each type: its typical dip, day by day, under the threshold.

    Args:
        recovery: the answer "recovery".
    """
    types = recovery.types.isel({n.TYPE: slice(MOST_TYPES)})
    return drawn("dips", lambda size: _dips(types, recovery.threshold.percent, size))


def _dips(recovery: xr.Dataset, threshold: float, size: Size) -> Figure:
    types = [str(t) for t in recovery[n.TYPE].values]
    columns = min(3 if size.wide else 1, len(types))
    rows = -(-len(types) // columns)
    panel, gap, left, foot = 104, 52, 58, 46
    fig = figure(size, rows * (panel + gap) - 26 + foot)
    across = (size.width - 8) / columns
    deepest = words.percent_off(float(recovery["dip_left_by_day_ln"].max()))
    for i, label in enumerate(types):
        row, column = divmod(i, columns)
        bottom = foot + (rows - 1 - row) * (panel + gap)
        top = gap - 26 + row * (panel + gap)
        right = 8 + across * (columns - 1 - column)
        ax = axes(fig, across * column + left, top, right, bottom)
        _dip(ax, recovery.sel({n.TYPE: label}), deepest, threshold, size)
        name = shortened(label, _BOLD * (across - left - 4), size)
        where = {"ha": "left", "va": "bottom", "transform": ax.transAxes, "fontweight": "bold"}
        write(ax, 0, 1.06, name, size, **where)
        if i + columns >= len(types):
            place = {"ha": "right", "va": "top", "transform": ax.transAxes, "color": SOFT}
            write(ax, 1, -24 / panel, "day after the session", size, **place)
        if not column:
            up = {"rotation": 90, "ha": "left", "va": "center", "transform": ax.transAxes}
            write(ax, (6 - left) / (across - left - 8), 0.5, "dip", size, color=SOFT, **up)
        if not i:
            place = {"ha": "right", "va": "bottom", "color": INK}
            write(ax, ax.get_xlim()[1], threshold + 0.01 * deepest, "threshold", size, **place)
    return fig


def _dip(ax: Axes, row: xr.Dataset, deepest: float, threshold: float, size: Size) -> None:
    days, dips = row["day"].values, row["dip_left_by_day_ln"]
    left = {
        bound: [words.percent_off(dip) for dip in dips.sel({BOUND: bound}).values]
        for bound in BOUNDS
    }
    ax.fill_between(days, left["low"], left["high"], color=STATE, alpha=0.22, linewidth=0)
    ax.plot(days, left["median"], color=STATE, marker="o", markersize=3.5, linewidth=1.8)
    ax.axhline(threshold, color=INK, linestyle=LINES[1], linewidth=1.2)
    ax.set_xlim(0.6, days[-1] + 0.4)
    ax.set_ylim(0, deepest * 1.04)
    ticks = round_ticks(0, deepest * 1.04, 4)
    ax.set_yticks(ticks, [f"{tick:g} %" for tick in ticks], fontsize=size.text)
    step = -(-len(days) // 10)
    ax.set_xticks(days[::step], [str(day) for day in days[::step]], fontsize=size.text)
    ax.grid(axis="y", color=HAIR, linewidth=1)


def chances(recovery: xr.Dataset) -> Picture:
    """Draw for each type and day a bar as high as the chance to be recovered by then.

    Args:
        recovery: the types of the answer "recovery".
    """
    kept = recovery.isel({n.TYPE: slice(MOST_TYPES), "day": slice(_MOST_DAYS)})
    return drawn("chances", lambda size: _chances(kept, size))


def _chances(recovery: xr.Dataset, size: Size) -> Figure:
    types = [str(t) for t in recovery[n.TYPE].values]
    days = recovery["day"].values
    bar, label_room = 34.0, 0 if size.wide else 20
    tall = bar + 16 + label_room + 12
    left = 150 if size.wide else 4
    fig = figure(size, 26 + tall * len(types))
    ax = axes(fig, left, 26, 4, 0)
    ax.set_xlim(days[0] - 0.5, days[-1] + 0.5)
    ax.set_ylim(tall * len(types), 0)
    ax.set_yticks([])
    ax.xaxis.tick_top()
    ax.set_xticks(days, [f"day {d}" if d == days[0] else str(d) for d in days], fontsize=size.text)
    for i, label in enumerate(types):
        floor = tall * (i + 1) - 6
        share = recovery["chance_by_day"].sel({n.TYPE: label}).values
        ax.bar(days, -bar * share, bottom=floor, width=0.72, color=STATE, alpha=0.35)
        ax.plot(ax.get_xlim(), [floor] * 2, color=HAIR, linewidth=1)
        for day, chance in zip(days, share, strict=True):
            shown = words.chance(float(chance)).removesuffix(" %")
            shown = {"under 1": "<1", "over 99": ">99"}.get(shown, shown)
            write(ax, day, floor - bar * chance - 3, shown, size, ha="center", va="bottom")
        if size.wide:
            short = shortened(label, left - 20, size)
            write(ax, days[0] - 0.62, floor - bar / 2, short, size, ha="right", va="center")
        else:
            short = shortened(label, _BOLD * (size.width - 20), size)
            top = tall * i + 8
            write(ax, days[0] - 0.45, top, short, size, ha="left", va="top", fontweight="bold")
    return fig


def everyday(recovery: xr.Dataset) -> list[int]:
    """Return the days that the picture of chances shows."""
    return [int(day) for day in np.asarray(recovery["day"].values)[:_MOST_DAYS]]
