"""Axes of pictures: ms on a logarithmic scale, dates below, with few and round ticks."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import NullFormatter, NullLocator
from numpy.typing import NDArray

from slackwater.fitting.report import words
from slackwater.fitting.report.page.canvas import HAIR, SOFT, Size, write
from slackwater.model.season import DAY

_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200)
_MOST_TICKS: Final = 6


def milliseconds_left(ax: Axes, size: Size, shown: list[xr.DataArray]) -> None:
    """Scale the axes' ms logarithmically around what is shown, with round ticks."""
    values = np.concatenate([each.values.ravel() for each in shown])
    low, high = np.nanmin(values) * 0.94, np.nanmax(values) * 1.06
    ax.set_yscale("log")
    ax.set_ylim(low, high)
    ticks = round_ticks(low, high)
    ax.set_yticks(ticks, [f"{tick:g}" for tick in ticks], fontsize=size.text)
    ax.yaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_minor_formatter(NullFormatter())
    ax.grid(axis="y", color=HAIR, linewidth=1)
    place = {"ha": "left", "va": "bottom", "transform": ax.transAxes, "color": SOFT}
    write(ax, 0.0, 1.0, "RMSSD, ms", size, **place)


def round_ticks(low: float, high: float, most: int = _MOST_TICKS) -> NDArray[np.float64]:
    """Return multiples of a round step between two values, at most so many."""
    step = next((s for s in _STEPS if (high - low) / s <= most), _STEPS[-1])
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step


def dates_below(
    ax: Axes, size: Size, first: np.datetime64, last: np.datetime64, drop: float = 0
) -> None:
    """Write dates below the axes, and below what is drawn in `drop` pixels under them."""
    room = 62 if size.wide else 52
    days = int((last - first) / DAY) + 1
    most = int(size.width / room)
    step = next((s for s in (1, 2, 7, 14) if days / s <= most), 0)
    ticks = _weekly(first, last, step) if step else _monthly(first, last, most)
    ax.set_xticks(ticks, [words.short_date(str(tick)) for tick in ticks], fontsize=size.text)
    ax.tick_params(axis="x", pad=6 + drop)
    ax.grid(axis="x", color=HAIR, linewidth=0.5)


def _weekly(first: np.datetime64, last: np.datetime64, step: int) -> list[np.datetime64]:
    """Return every so many days, back from the last."""
    return list(np.arange(last, first - DAY, -step * DAY)[::-1])


def _monthly(first: np.datetime64, last: np.datetime64, most: int) -> list[np.datetime64]:
    month = np.timedelta64(1, "M")
    months = np.arange(first.astype("datetime64[M]"), last.astype("datetime64[M]") + month)[1:]
    every = -(-len(months) // most) if len(months) else 1
    return list(months[::every].astype("datetime64[D]"))


def days_of(values: xr.DataArray) -> NDArray[np.datetime64]:
    """Return dates without a time of day."""
    return values.values.astype("datetime64[D]")
