"""Pictures of intervals, one below the other, against a stretch that makes no difference."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter, NullLocator

from slackwater.fitting.report import words
from slackwater.fitting.report.page.canvas import (
    BESIDE,
    DIFFERENCE,
    HAIR,
    MARKERS,
    SHADE,
    SOFT,
    Size,
    axes,
    figure,
    shortened,
    text_pixels,
    write,
)
from slackwater.fitting.report.page.canvas import picture as drawn
from slackwater.fitting.report.page.part import Picture

MOST_ROWS: Final = 24
_LABELS: Final = 230  # pixels, at most
_STEPS: Final = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
_RATIOS: Final = (0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 10, 20, 30)


class Row(NamedTuple):
    """One interval.

    Attributes:
        label: what it is of.
        low, median, high: the interval.
        told: the same in words, short.
        kind: 0, 1 or so: intervals of one kind have one colour and one marker.
    """

    label: str
    low: float
    median: float
    high: float
    told: str
    kind: int = 0


class Ground(NamedTuple):
    """What intervals stand on: a scale, and on it what makes no difference.

    Attributes:
        unit: what is written at the scale.
        none: the place that stands for no difference.
        same: the stretch that makes no meaningful difference, or None.
        ratio: whether the scale is logarithmic.
        less, more: what lies to the left and to the right of `none`.
    """

    unit: str
    none: float
    same: tuple[float, float] | None
    ratio: bool
    less: str
    more: str


def intervals(key: str, rows: Sequence[Row], ground: Ground) -> Picture:
    """Draw intervals on one ground.

    Args:
        key: what no other picture of the page is called.
        rows: the intervals, from top to bottom.
        ground: what they stand on.
    """
    return drawn(key, lambda size: _intervals(rows[:MOST_ROWS], ground, size))


def _intervals(rows: Sequence[Row], ground: Ground, size: Size) -> Figure:
    tall = 30 if size.wide else 48
    left, right = _room(rows, size) if size.wide else (10.0, 10.0)
    top, foot = 30, 44
    fig = figure(size, top + tall * len(rows) + foot)
    ax = axes(fig, left, top, right, foot)
    low, high = _ends(rows, ground)
    if ground.ratio:
        ax.set_xscale("log")
    ax.set_xlim(low, high)
    ax.set_ylim(tall * len(rows), 0)
    ax.set_yticks([])
    outside = _outside(left, right, size)
    for i, row in enumerate(rows):
        middle = tall * (i + 0.5) if size.wide else tall * i + 34
        _ground(ax, middle, tall / 2 if size.wide else 11, ground)
        colour = (DIFFERENCE, BESIDE)[row.kind]
        ax.plot([row.low, row.high], [middle] * 2, color=colour, linewidth=4, alpha=0.55)
        ax.plot(row.median, middle, MARKERS[row.kind], color=colour, markersize=7)
        if size.wide:
            label = shortened(row.label, left - 16, size)
            write(ax, outside(-10), middle, label, size, ha="right", va="center",
                  transform=ax.get_yaxis_transform())  # fmt: skip
            write(ax, outside(0, past=10), middle, row.told, size, va="center", color=SOFT,
                  transform=ax.get_yaxis_transform())  # fmt: skip
        else:
            room = size.width - 20 - 0.62 * size.text * len(row.told)
            label = shortened(row.label, room, size)
            write(ax, 0, middle - 12, label, size, va="bottom", transform=ax.get_yaxis_transform())
            write(ax, 1, middle - 12, row.told, size, va="bottom", ha="right", color=SOFT,
                  transform=ax.get_yaxis_transform())  # fmt: skip
    _ticks(ax, low, high, ground, size)
    return fig


def _room(rows: Sequence[Row], size: Size) -> tuple[float, float]:
    """Return how many pixels labels and numbers take beside the scale, within reason."""
    labels = max(text_pixels(row.label, size) for row in rows) + 20
    return min(labels, _LABELS), max(text_pixels(row.told, size) for row in rows) + 14


def _ground(ax: Axes, middle: float, half: float, ground: Ground) -> None:
    """Draw, behind one interval, the shaded stretch and the line of no difference."""
    if ground.same is not None:
        low, high = ground.same
        ax.fill_betweenx([middle - half, middle + half], low, high, color=SHADE, linewidth=0)
    ax.vlines(ground.none, middle - half, middle + half, color=SOFT, linewidth=1.2)


def _outside(left: float, right: float, size: Size) -> Callable[..., float]:
    """Return what turns pixels from the axes' edges into a share of their width."""
    across = size.width - left - right
    return lambda pixels, past=None: pixels / across if past is None else 1 + past / across


def _ends(rows: Sequence[Row], ground: Ground) -> tuple[float, float]:
    marks = [ground.none, *(ground.same or ())]
    low = min([*(row.low for row in rows), *marks])
    high = max([*(row.high for row in rows), *marks])
    if ground.ratio:
        return low / 1.08, high * 1.08
    edge = 0.05 * (high - low)
    return low - edge, high + edge


def _ticks(ax: Axes, low: float, high: float, ground: Ground, size: Size) -> None:
    """Write the scale below, its unit under it, and its two directions above."""
    if ground.ratio:
        ticks = [tick for tick in _RATIOS if low <= tick <= high]
        shown = [f"{tick:g}" for tick in ticks]
    else:
        most = 9 if size.wide else 6
        step = next((s for s in _STEPS if (high - low) / s <= most), _STEPS[-1])
        ticks = list(np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step)
        shown = [words.signed(tick, 1).replace(".0", "") for tick in ticks]
    ax.set_xticks(ticks, shown, fontsize=size.text)
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_minor_formatter(NullFormatter())
    if size.wide:
        ax.grid(axis="x", color=HAIR, linewidth=1)
    tall = ax.get_ylim()[0]
    for x, text, side in ((0, f"← {ground.less}", "left"), (1, f"{ground.more} →", "right")):
        write(ax, x, -8, text, size, ha=side, va="bottom", color=SOFT,
              transform=ax.get_yaxis_transform())  # fmt: skip
    write(ax, 1, tall + 40, ground.unit, size, ha="right", va="bottom", color=SOFT,
          transform=ax.get_yaxis_transform())  # fmt: skip
