"""Many measures judged together, so that the tenth idea does not win by luck.

    estimate[j] ~ Normal(effect[j], error[j]^2)      what each measure's own data say
    effect[j]   ~ Normal(centre, spread^2)           measures differ
    centre      ~ Normal(0, centre_sd^2)
    spread      ~ half-Cauchy(spread_scale)

Given the spread everything is normal, so only the spread is integrated over numerically: on
the midpoints of equal shares of its prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from slackwater.model.dynamics import Floats
from slackwater.model.priors import Belief

SPREADS: Final = 1000
CENTRE_SD: Final = 0.15  # log rate ratio; a reason, no source: most measures do little
SPREAD_SCALE: Final = 0.15  # log rate ratio; a few may do more


@dataclass(frozen=True)
class Shrunk:
    """The effects of J measures, each a mixture of normals over L values of the spread.

    Attributes:
        spread: values of the spread, shape (L,).
        weight: their posterior weights, shape (L,).
        means: effect's mean given the spread, shape (J, L).
        sds: its standard deviation, shape (J, L).
        centre_means: the centre's mean given the spread, shape (L,).
        centre_sds: its standard deviation, shape (L,).
    """

    spread: Floats
    weight: Floats
    means: Floats
    sds: Floats
    centre_means: Floats
    centre_sds: Floats

    @property
    def mean(self) -> Floats:
        """Posterior mean of each effect, shape (J,)."""
        return np.asarray(self.means @ self.weight)

    @property
    def sd(self) -> Floats:
        """Posterior standard deviation of each effect, shape (J,)."""
        second = (self.means**2 + self.sds**2) @ self.weight
        return np.asarray(np.sqrt(second - self.mean**2))

    def chance_above(self, value: float) -> Floats:
        """Return the chance that each effect is above a value, shape (J,)."""
        return np.array([1 - self.below(j, value) for j in range(len(self.means))])

    def quantile(self, share: float) -> Floats:
        """Return the value below which each effect lies with that chance, shape (J,)."""
        return np.array([self._quantile(j, share) for j in range(len(self.means))])

    def below(self, j: int, value: float) -> float:
        """Return the chance that one effect lies below a value."""
        from scipy.special import ndtr

        return float(ndtr((value - self.means[j]) / self.sds[j]) @ self.weight)

    def _quantile(self, j: int, share: float) -> float:
        from scipy.optimize import brentq

        low = float((self.means[j] - 10 * self.sds[j]).min())
        high = float((self.means[j] + 10 * self.sds[j]).max())
        return float(brentq(lambda value: self.below(j, value) - share, low, high))


def shrink(
    estimate: Floats,
    error: Floats,
    centre_sd: float = CENTRE_SD,
    spread_scale: float = SPREAD_SCALE,
) -> Shrunk:
    """Estimate the effects of measures together.

    Args:
        estimate: what each measure's own data say, shape (J,); J may be 0.
        error: its standard error, shape (J,), above 0; infinite where the data say nothing.
        centre_sd: prior standard deviation of the centre.
        spread_scale: prior scale of the spread.
    """
    shares = (np.arange(SPREADS) + 0.5) / SPREADS
    spread = spread_scale * np.tan(shares * np.pi / 2)
    known = np.isfinite(error)
    y = np.where(known, estimate, 0.0)[:, None]
    variance = np.where(known, error, 1.0)[:, None] ** 2
    precision = np.where(known[:, None], 1 / (variance + spread**2), 0.0)
    centre_precision = 1 / centre_sd**2 + precision.sum(axis=0)
    pull = (precision * y).sum(axis=0)
    log_weight = -0.5 * (
        np.where(known[:, None], np.log(variance + spread**2), 0.0).sum(axis=0)
        + np.log(centre_precision)
        + (precision * y**2).sum(axis=0)
        - pull**2 / centre_precision
    )
    weight = np.exp(log_weight - log_weight.max())
    centre = pull / centre_precision
    own = np.where(known[:, None], spread**2 / (variance + spread**2), 0.0)
    left = np.where(known[:, None], own * variance, spread**2)
    return Shrunk(
        spread=spread,
        weight=weight / weight.sum(),
        means=own * y + (1 - own) * centre,
        sds=np.sqrt(left + (1 - own) ** 2 / centre_precision),
        centre_means=centre,
        centre_sds=1 / np.sqrt(centre_precision),
    )


def without_prior(mean: Floats, sd: Floats, priors: Sequence[Belief]) -> tuple[Floats, Floats]:
    """Return what the data alone say, from posterior moments under normal priors.

    Otherwise the prior on a single measure would shrink it, and its kin once more. The
    standard error is infinite where the posterior is no narrower than the prior.

    Args:
        mean: posterior means, shape (J,).
        sd: posterior standard deviations, shape (J,).
        priors: what was believed of each beforehand, J of them.
    """
    prior_mean, prior_sd = np.reshape(priors, (-1, 2)).T
    information = 1 / sd**2 - 1 / prior_sd**2
    learnt = information > 1e-2 / prior_sd**2
    information = np.where(learnt, information, 1.0)
    estimate = (mean / sd**2 - prior_mean / prior_sd**2) / information
    return np.where(learnt, estimate, 0.0), np.where(learnt, 1 / np.sqrt(information), np.inf)
