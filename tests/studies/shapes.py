"""What one session does to made seasons: a dip in parts that decay, and its days."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Shape:
    """A response to one usual session: parts that decay, and a first night held back."""

    parts: tuple[tuple[float, float], ...]  # height, half-life in days
    first_night: float = 1.0  # share of the dip that shows on the first night

    def at(self, elapsed: float, nights: float) -> float:
        """Return the dip after `elapsed` (recovery) days, `nights` after the first night."""
        if self.first_night < 1.0:
            if nights < 1:
                peak = sum(height for height, _ in self.parts)
                return peak * (self.first_night + (1 - self.first_night) * nights)
            elapsed -= 1
        return float(sum(height * 0.5 ** (elapsed / half) for height, half in self.parts))

    def slowed(self, factor: float) -> Shape:
        """Return the same dip with every half-life times a factor."""
        return replace(self, parts=tuple((height, factor * half) for height, half in self.parts))


def response(shape: Shape, first: int, nights: int, speed: np.ndarray) -> np.ndarray:
    """Return the dip by night of a session first felt on night `first`."""
    out = np.zeros(nights)
    elapsed = 0.0
    for night in range(first, nights):
        if night > first:
            elapsed += speed[night]
        out[night] = shape.at(elapsed, night - first)
    return out


def days(shape: Shape, height: float, threshold: float) -> float:
    """Return the last moment at which the dip lies over the threshold, by a fine grid."""
    last = 0.0
    for moment in np.arange(0.0, 60.0, 0.002):
        if height * shape.at(moment, moment) > threshold:
            last = float(moment)
        elif moment > 1.0:  # from the second night on a dip only shrinks
            break
    return 1.0 + last
