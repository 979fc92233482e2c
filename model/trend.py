"""How recovery itself may change: slowly, and only in seasons of more than half a year.

All types together may have dipped deeper or recovered faster earlier than they do now. The change
is a random walk on a log scale, back from the last night, in steps of half a year that are gone
through evenly: parameters of the types mean the recovery of today.
"""

from __future__ import annotations

from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

STEP_NIGHTS: Final = 182  # seasons no longer than that are held to have one recovery all through

Floats = NDArray[np.float64]


def steps_over(nights: int) -> int:
    """Return how many steps a season of so many nights takes, 0 for a short one."""
    return 0 if nights <= STEP_NIGHTS else ceil((nights - 1) / STEP_NIGHTS)


def step_weights(ages: NDArray[np.int64] | Floats, steps: int) -> Floats:
    """Return how much of each step lies between a night and the last one, shape (N, steps).

    Args:
        ages: nights from each night to the last one of the fit, shape (N,); 0 or less is now.
        steps: how many steps there are, the latest first.
    """
    return np.clip(ages[:, None] / STEP_NIGHTS - np.arange(steps), 0.0, 1.0)
