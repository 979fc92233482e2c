"""Draws to intervals, the same way in every answer."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.model.errors import QuestionError

CLEARLY: Final = 0.975  # the chance of a direction that makes it clear
DEFAULT_LEVEL: Final = 0.8
BOUND: Final = "bound"
BOUNDS: Final = ("low", "median", "high")
_BOUND_LABELS: Final = xr.Coordinates({BOUND: list(BOUNDS)})  # its index is made but once
WHOLE_DAYS: Final = "whole days"  # units of numbers that are whole wherever they are known


class Interval(NamedTuple):
    """An equal-tailed interval and the median; NaN where it is not known."""

    low: float
    median: float
    high: float


def interval(draws: NDArray[np.float64], level: float) -> Interval:
    """Return the equal-tailed interval of draws and their median.

    Args:
        draws: shape (S,).
        level: credible mass between low and high, between 0 and 1.
    """
    return Interval(*(float(q) for q in _quantiles(draws, level)))


def intervals(draws: NDArray[np.float64], level: float, dims: tuple[str, ...] = ()) -> xr.DataArray:
    """Return the equal-tailed intervals of draws of many things and their medians.

    Args:
        draws: shape (S, ...), one axis for each name in `dims` after the first.
        level: credible mass between low and high, between 0 and 1.
        dims: names of the axes after the first.

    Returns:
        Dimensions `dims` and then `bound` (low, median, high).
    """
    bounds = np.moveaxis(_quantiles(draws, level), 0, -1)
    return xr.DataArray(bounds, dims=(*dims, BOUND), coords=_BOUND_LABELS)


def interval_of(values: xr.DataArray) -> Interval:
    """Return one of many intervals by itself.

    Args:
        values: dimension `bound` alone.
    """
    return Interval(*(float(value) for value in values.values))


def check_level(level: float) -> None:
    """Refuse a level that is no credible mass.

    Raises:
        QuestionError: not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise QuestionError(f"The level {level} is no share between 0 and 1; 0.8 is the default.")


def shares(level: float) -> tuple[float, float, float]:
    """Return the shares of a distribution that lie under low, median and high."""
    tail = (1.0 - level) / 2.0
    return tail, 0.5, 1.0 - tail


def _quantiles(draws: NDArray[np.float64], level: float) -> NDArray[np.float64]:
    check_level(level)
    return np.asarray(np.quantile(draws, shares(level), axis=0))
