"""What a number was expected to be, as a mixture of normal distributions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, median
from typing import Final, NamedTuple

from slackwater.model.priors import Priors

ASKED_BELOW: Final = 0.001  # of right entries, one in a thousand is asked about
LIKELY: Final = 0.05  # what is meant lies in the middle 95 % of what was foreseen
_PRIORS: Final = Priors()
_DRAWS: Final = 400  # enough of a posterior's draws to tell one in a thousand
_TO_SD: Final = 1 / NormalDist().inv_cdf(0.75)  # a normal's SD over its median deviation
# Variance of a median over that of a mean, of a normal sample (common knowledge, no source).
_OF_A_MEDIAN: Final = math.pi / 2
# Variance of the log of a variance taken from n median deviations, times n: 2 over their
# efficiency of 0.37 (Rousseeuw and Croux 1993, JASA 88:1273-1283).
_OF_A_LOG_VARIANCE: Final = 2 / 0.37
# Gauss-Hermite nodes and weights for a standard normal (Abramowitz and Stegun 1964, table
# 25.10, n = 9, rescaled); they carry the tails far enough for chances of one in a thousand.
_NODES: Final = (
    (0.0, 0.40634920634920635),
    (1.0232556637891326, 0.24409750289493953),
    (2.07684797867783, 0.04991640676521782),
    (3.20542900285647, 0.0027891413212317692),
    (4.512745863399783, 0.000022345844007746607),
)


class Part(NamedTuple):
    """One normal distribution of a mixture."""

    weight: float
    mean: float
    sd: float


class Prior(NamedTuple):
    """What is believed of a kind of number before any was seen, all logarithms.

    Attributes:
        mean: its middle.
        mean_sd: how far the middle may lie from that.
        sd: how far one lies from the middle.
        tail: SD of the log variance of one.
        worth: how many numbers seen the belief about `sd` is worth.
        drift: variance that the middle gains each day.
    """

    mean: float
    mean_sd: float
    sd: float
    tail: float
    worth: float
    drift: float = 0.0


@dataclass(frozen=True)
class Foreseen:
    """What was expected of the logarithm of a number.

    Attributes:
        basis: where it comes from: "forecast", "own readings", "general experience".
        parts: a mixture of normal distributions.
    """

    basis: str
    parts: tuple[Part, ...]

    @property
    def median(self) -> float:
        """The middle of the distribution."""
        return self.quantile(0.5)

    def below(self, value: float) -> float:
        """Return the chance of a number at or below this one, both logarithms."""
        return sum(w * _below((value - mean) / sd) for w, mean, sd in self.parts)

    def chance(self, value: float) -> float:
        """Return the chance of a number at least as far out as this one, on either side."""
        above = sum(w * _below((mean - value) / sd) for w, mean, sd in self.parts)
        return min(1.0, 2 * min(self.below(value), above))

    def quantile(self, share: float) -> float:
        """Return the number below which a share of the chance lies, by bisection."""
        low = min(mean - 40 * sd for _, mean, sd in self.parts)
        high = max(mean + 40 * sd for _, mean, sd in self.parts)
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if self.below(middle) < share else (low, middle)
        return (low + high) / 2


def _below(z: float) -> float:
    """Return the chance of a standard normal number below this one, exact far out as well."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def reading_prior() -> Prior:
    """Return what is believed of readings, by the model's own priors.

    A reading lies away from the athlete's middle by an ordinary night's noise and by a usual
    session's dip.
    """
    noise, dip = math.exp(_PRIORS.noise_sd.mean), math.exp(_PRIORS.type_dip.mean)
    return Prior(
        mean=_PRIORS.baseline.mean,
        mean_sd=_PRIORS.baseline.sd,
        sd=math.hypot(noise, dip),
        tail=math.exp(_PRIORS.noise_tail.mean),
        worth=10,
        drift=math.exp(2 * _PRIORS.drift_sd.mean),
    )


# 1 is a type's usual session by what dose means; nearly all sessions are between half and double
# of that (a reason, no source).
DOSE_PRIOR: Final = Prior(mean=0.0, mean_sd=0.2, sd=math.log(2) / 2, tail=0.5, worth=10)


def from_own(
    basis: str, values: Sequence[float], prior: Prior, days: float = 0.0, more: float = 0.0
) -> Foreseen:
    """Return what is expected given numbers of the athlete's own.

    Their median and median absolute deviation, which a slip among them does not move (Hampel
    1974, JASA 69:383-393), are weighed with what is believed beforehand.

    Args:
        basis: what to call it where there are such numbers.
        values: logarithms.
        prior: what is believed of such numbers.
        days: how many days lie between them and the one expected.
        more: variance that this one has beyond theirs.
    """
    count = len(values)
    middle = median(values) if values else prior.mean
    spread = _TO_SD * median([abs(v - middle) for v in values]) if values else 0.0
    variance = (prior.worth * prior.sd**2 + count * spread**2) / (prior.worth + count)
    of_median = _OF_A_MEDIAN * variance / count + prior.drift * days if values else math.inf
    trust = 1 / (1 + of_median / prior.mean_sd**2)
    mean = prior.mean + trust * (middle - prior.mean)
    mean_variance = trust * of_median if values else prior.mean_sd**2
    tail = math.hypot(prior.tail, math.sqrt(_OF_A_LOG_VARIANCE / (prior.worth + count)))
    parts = [
        Part(weight, mean, math.sqrt(mean_variance + more + variance * math.exp(tail * node)))
        for node, weight in _both_sides()
    ]
    return Foreseen(basis if values else "general experience", tuple(parts))


def from_draws(
    centre: Sequence[float],
    variance: Sequence[float],
    noise_sd: Sequence[float],
    noise_tail: Sequence[float],
) -> Foreseen:
    """Return what a posterior's draws foretell of one morning's reading, S draws.

    Args:
        centre: the reading without its noise, ln ms, shape (S,).
        variance: its variance within a draw, of baseline, shape (S,).
        noise_sd: SD of an ordinary night's noise, ln, shape (S,).
        noise_tail: SD of a night's log noise variance, shape (S,).
    """
    step = max(1, len(centre) // _DRAWS)
    draws = [*zip(centre, variance, noise_sd, noise_tail, strict=True)][::step]
    parts = [
        Part(weight / len(draws), mean, math.sqrt(own + noise**2 * math.exp(tail * node)))
        for mean, own, noise, tail in draws
        for node, weight in _both_sides()
    ]
    return Foreseen("forecast", tuple(parts))


def _both_sides() -> list[tuple[float, float]]:
    return [*_NODES, *((-node, weight) for node, weight in _NODES[1:])]
