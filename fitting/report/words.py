"""Numbers as a person says them."""

from __future__ import annotations

import math
from typing import Final

import xarray as xr

from slackwater.fitting.answers.intervals import BOUND

LONG: Final = 60.0


def triple(values: xr.DataArray) -> tuple[float, float, float]:
    """Return an interval's low, median and high."""
    low, median, high = (float(values.sel({BOUND: b})) for b in ("low", "median", "high"))
    return low, median, high


def days_range(values: xr.DataArray) -> str:
    """Return an interval in days with one decimal: "4.2 (3.1 to 6.0)"."""
    low, median, high = triple(values)
    return f"{_days(median)} ({_days(low)} to {_days(high)})"


def tight(values: xr.DataArray) -> str:
    """Return an interval in days for a narrow column: "4.2 (3.1–6.0)"."""
    low, median, high = (_days(value).replace("over ", ">") for value in triple(values))
    return f"{median} ({low}–{high})"


def whole_days(values: xr.DataArray) -> str:
    """Return an interval as a person plans: "4 days, likely 3 to 6".

    The middle is rounded; the ends are rounded outward, so that the range keeps its
    promise.
    """
    low, median, high = triple(values)
    first, middle, last = math.floor(low + 0.05), round(median), math.ceil(high - 0.05)
    if first == last:
        return f"{plural(first, 'day')}, likely no other"
    return f"{plural(middle, 'day')}, likely {first} to {last}"


def milliseconds(values: xr.DataArray) -> str:
    """Return an interval in ms: "62 ms (55 to 70)"."""
    low, median, high = triple(values)
    return f"{median:.0f} ms ({low:.0f} to {high:.0f})"


def percent_dip(values: xr.DataArray) -> str:
    """Return a dip in ln units as what it takes off the reading: "18 % (14 to 23)"."""
    low, median, high = (100 * -math.expm1(-v) for v in triple(values))
    return f"{median:.0f} % ({low:.0f} to {high:.0f})"


def tight_dip(values: xr.DataArray) -> str:
    """Return the same for a narrow column: "18 % (14–23)"."""
    low, median, high = (100 * -math.expm1(-v) for v in triple(values))
    return f"{median:.0f} % ({low:.0f}–{high:.0f})"


def ratio(values: xr.DataArray) -> str:
    """Return a ratio with its interval: "1.4 times (1.1 to 1.7)"."""
    low, median, high = triple(values)
    return f"{median:.2f} times ({low:.2f} to {high:.2f})"


def chance(share: float) -> str:
    """Return a chance in whole percent, never 0 or 100."""
    if share < 0.005:
        return "under 1 %"
    if share > 0.995:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def out_of_ten(level: float) -> str:
    """Return what "likely" means at this level."""
    tenths = level * 10
    if math.isclose(tenths, round(tenths)):
        return f"{round(tenths)} times in 10"
    return f"{100 * level:g} times in 100"


def plural(count: int, noun: str) -> str:
    """Return "1 day", "2 days"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _days(value: float) -> str:
    if value >= LONG:
        return f"over {LONG:.0f}"
    shown = f"{value:.1f}"
    return "0.0" if shown == "-0.0" else shown
