"""Series over nights, drawn the same in every picture: readings, lines in bands, and their key."""

from __future__ import annotations

from typing import Any, Final

import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from slackwater.fitting.report.page.canvas import (
    DIFFERENCE,
    FORETOLD,
    INK,
    LINES,
    PAPER,
    SHADE,
    SOFT,
    STATE,
    Size,
    text_pixels,
    write,
)

_ROW: Final = 18.0  # pixels
_EDGE: Final = 2.0
_LINE: Final = 20.0  # pixels of a line in the key
_STYLES: Final[dict[str, dict[str, Any]]] = {
    "reading": {"color": INK, "marker": "o", "markersize": 4.5},
    "reading outside": {
        "color": INK, "marker": "D", "markersize": 5, "markerfacecolor": PAPER,
        "markeredgewidth": 1.4,
    },
    "range foretold": {"color": FORETOLD, "alpha": 0.35, "marker": "|", "markersize": 14,
                       "markeredgewidth": 4},
    "mean residual with its range": {"color": DIFFERENCE, "marker": "o", "markersize": 7},
    "by chance": {"color": SHADE, "marker": "s", "markersize": 10},
    "state": {"color": STATE, "linestyle": LINES[0]},
    "baseline": {"color": SOFT, "linestyle": LINES[1]},
    "to come": {"color": STATE, "linestyle": LINES[2]},
    "baseline over the season": {"color": SOFT, "linestyle": LINES[1]},
}  # fmt: skip


def band(
    ax: Axes,
    nights: NDArray[Any],
    bounds: xr.DataArray,
    colour: str,
    line: Any,
    shade: str | None = None,
    marker: str = "",
) -> None:
    """Draw an interval over nights: its middle as a line, its range as a band.

    Args:
        ax: where to.
        nights: dates.
        bounds: dimension night and `bound`.
        colour: of the line, and of the band if not shaded otherwise.
        line: its style.
        shade: the band's colour.
        marker: on each night, if any.
    """
    low, median, high = (bounds.sel(bound=b).values for b in ("low", "median", "high"))
    ax.fill_between(
        nights, low, high, color=shade or colour, alpha=None if shade else 0.2, linewidth=0
    )
    ax.plot(nights, median, color=colour, linestyle=line, linewidth=1.8, marker=marker, ms=5)


def readings(ax: Axes, nights: NDArray[Any], values: xr.DataArray, size: float) -> None:
    """Draw readings as dots."""
    ax.plot(nights, values.values, "o", color=INK, markersize=size, markeredgewidth=0)


def readings_of(nights: xr.Dataset) -> xr.DataArray:
    """Return a course's readings on the scale of the latest sensor, as its state and baseline."""
    return nights["same_sensor_rmssd_ms" if "same_sensor_rmssd_ms" in nights else "rmssd_ms"]


def key_room(size: Size, entries: list[str]) -> float:
    """Return how many pixels the key and the space under it take above the axes."""
    return 22 + _ROW * len(_rows(size, entries))


def key(fig: Figure, size: Size, entries: list[str]) -> None:
    """Name, above the axes, the marks used in them."""
    over = fig.add_axes((0, 0, 1, 1), frameon=False, xticks=[], yticks=[])
    over.set_xlim(0, size.width)
    over.set_ylim(fig.get_size_inches()[1] * 72, 0)
    for row, placed in enumerate(_rows(size, entries)):
        y = 10 + _ROW * row
        for x, entry in placed:
            style = _STYLES[entry]
            marks = [x + 4] if "marker" in style else [x, x + _LINE]
            over.plot(marks, [y] * len(marks), linewidth=1.8, **style)
            write(over, x + _sample(entry) + 5, y, entry, size, va="center")


def _rows(size: Size, entries: list[str]) -> list[list[tuple[float, str]]]:
    """Return each row's entries with their place from the left."""
    rows: list[list[tuple[float, str]]] = [[]]
    x = _EDGE
    for entry in entries:
        taken = _sample(entry) + 5 + text_pixels(entry, size)
        if x + taken > size.width:
            rows.append([])
            x = _EDGE
        rows[-1].append((x, entry))
        x += taken + 4
    return rows


def _sample(entry: str) -> float:
    return 8.0 if "marker" in _STYLES[entry] else _LINE
