"""Draws to intervals, the same way in every answer."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.model.errors import QuestionError

DEFAULT_LEVEL: Final = 0.8
BOUND: Final = "bound"
BOUNDS: Final = ("low", "median", "high")


def interval(draws: NDArray[np.float64], level: float, dims: tuple[str, ...] = ()) -> xr.DataArray:
    """Return the equal-tailed interval of draws and their median.

    Args:
        draws: shape (S, ...), one axis for each name in `dims` after the first.
        level: credible mass between low and high, between 0 and 1.
        dims: names of the axes after the first.

    Returns:
        Dimensions `dims` and then `bound` (low, median, high).
    """
    check_level(level)
    tail = (1.0 - level) / 2.0
    quantiles = np.quantile(draws, [tail, 0.5, 1.0 - tail], axis=0)
    return xr.DataArray(
        np.moveaxis(quantiles, 0, -1), dims=(*dims, BOUND), coords={BOUND: list(BOUNDS)}
    )


def check_level(level: float) -> None:
    """Refuse a level that is no credible mass.

    Raises:
        QuestionError: not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise QuestionError(f"The level {level} is no share between 0 and 1; 0.8 is the default.")
