"""The noise of made seasons, as it is drawn and as its oracle knows it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm
from scipy.stats import t as student

BAD_NIGHT = (0.1, 0.4)  # how much lower a bad night reads, ln


@dataclass(frozen=True)
class Noise:
    """The law that nights' noise follows.

    Attributes:
        sd: its scale, ln.
        tail: SD of a night's log noise variance.
        degrees: of freedom of Student's t, instead of a tail; None for none.
        autocorrelation: of first order.
        bad_nights: chance of a night lower by `BAD_NIGHT` beside that.
    """

    sd: float
    tail: float
    degrees: float | None = None
    autocorrelation: float = 0.0
    bad_nights: float = 0.0

    @property
    def ordinary(self) -> float:
        """SD of an ordinary night: noise of 68 nights in 100 is no larger, whatever its tails.

        Half of the width that holds the central 68 %, as one SD to either side does of a normal.
        """
        if self.degrees is not None:
            return self.sd * float(student.ppf(norm.cdf(1.0), self.degrees))
        nodes, weights = np.polynomial.hermite_e.hermegauss(41)
        scales = np.exp(self.tail / 2 * nodes)

        def beyond(width: float) -> float:
            inside = 2 * norm.cdf(width / scales) - 1
            return float(inside @ weights / weights.sum() - (2 * norm.cdf(1.0) - 1))

        return self.sd * float(brentq(beyond, 0.1, 10.0))

    def independent(self, nights: int, rng: np.random.Generator) -> np.ndarray:
        """Draw noise without memory."""
        if self.degrees is not None:
            return self.sd * rng.standard_t(self.degrees, nights)
        scale = np.exp(self.tail / 2 * rng.standard_normal(nights))
        return np.asarray(self.sd * scale * rng.standard_normal(nights))

    def with_memory(self, independent: np.ndarray) -> np.ndarray:
        """Return the noise of the same spread that remembers the night before."""
        out = independent.copy()
        kept, new = self.autocorrelation, math.sqrt(1 - self.autocorrelation**2)
        for night in range(1, len(out)):
            out[night] = kept * out[night - 1] + new * independent[night]
        return out

    def bad(self, nights: int, rng: np.random.Generator) -> np.ndarray:
        """Draw what bad nights read lower, 0 on all others."""
        return np.where(rng.random(nights) < self.bad_nights, rng.uniform(*BAD_NIGHT, nights), 0.0)

    def variances(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the noise variance of one night, without memory, many times."""
        if self.degrees is not None:
            return np.asarray(self.sd**2 * self.degrees / rng.chisquare(self.degrees, count))
        return np.asarray(self.sd**2 * np.exp(self.tail * rng.standard_normal(count)))
