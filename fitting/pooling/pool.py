"""A group's posterior from the draws of athletes who were fitted alone, without a reading.

In two stages, as Lunn, Barrett, Sweeting & Thompson (2013, Journal of the Royal Statistical
Society C 62:551-572) have it: each athlete is fitted alone; then the group, from draws that are
corrected for the prior that they were drawn under. They let a chain choose among an athlete's
draws, which with some twenty quantities an athlete, all moved a little by the group, leaves few
draws to choose. Here the group is drawn from what each athlete's readings say as a normal density
(see `sites`), and an athlete's draws are weighed once, for all draws of the group together. Where
the weights are too uneven, by Pareto's k (Vehtari et al. 2024, Journal of Machine Learning
Research 25(72):1-58), or leave few draws that count, the athlete is to be fitted again, under what
the group tells, and pooled from these draws: the second pass of expectation propagation (Vehtari et
al. 2020, Journal of Machine Learning Research 21(17):1-53).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.alone import Alone
from slackwater.fitting.pooling.sites import OWN, Layout, Normals, Site, prior_of_draws, site_of
from slackwater.fitting.pooling.together import Drawn, draw_together
from slackwater.fitting.state.smoothing import smooth_weights
from slackwater.model import names as n
from slackwater.model.dynamics import days_to_recover, threshold_of
from slackwater.model.errors import QuestionError
from slackwater.model.population import SHARED, Population, prior_of
from slackwater.model.priors import Priors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DRAWS: Final = 400  # of the group
FOR_WEIGHTS: Final = 100  # of these, that athletes' draws are weighed for, at least
_WEIGHED: Final = 20_000  # for all athletes together: a small squad is quick, and told the better
_FEWEST_EFFECTIVE: Final = 100  # draws of an athlete that count, for the ends of a range
WARM: Final = 150
_TIE: Final = 1e-6
_SWEEPS: Final = 1200  # for a small squad, which is quick; a large one needs fewer


@dataclass(frozen=True)
class OfGroup:
    """An athlete as one of a group, M columns of what readings know.

    Attributes:
        alone: the draws before, S of them.
        weights: what each of them counts for in the group, shape (S,), adding up to 1.
        pareto_k: how uneven these weights are.
        moved: draws by the normal approximation of what the readings say, shape (T, M).
    """

    alone: Alone
    weights: Floats
    pareto_k: float
    moved: Floats

    @property
    def effective(self) -> float:
        """How many of the draws count, as it were (Kish's effective sample size)."""
        return float(1 / np.square(self.weights).sum())

    @property
    def again(self) -> bool:
        """Whether the athlete must be fitted again, under the group, for the draws to be right."""
        draws = len(self.weights)
        even = self.pareto_k < min(1 - 1 / np.log10(draws), 0.7)
        return not even or self.effective < min(_FEWEST_EFFECTIVE, draws / 10)

    def rows(self, count: int, seed: int = 0) -> Ints:
        """Return which draws of the athlete's posterior stand for the athlete as one of the group.

        Args:
            count: how many; a draw may come more than once.
            seed: the same seed gives the same rows.
        """
        ends = np.cumsum(self.weights)
        at = (np.arange(count) + np.random.default_rng(seed).random()) / count * ends[-1]
        return np.asarray(self.alone.rows[np.searchsorted(ends, at).clip(max=len(ends) - 1)])

    @cached_property
    def values(self) -> Floats:
        """Draws of the columns: the weighed ones; the moved ones while these are too uneven."""
        if self.again:
            return self.moved
        ends = np.cumsum(self.weights)
        at = (np.arange(len(self.weights)) + 0.5) / len(self.weights) * ends[-1]
        return np.asarray(self.alone.values[np.searchsorted(ends, at).clip(max=len(ends) - 1)])

    def column(self, name: str, label: str | None = None) -> Floats:
        """Return draws of one quantity."""
        return np.asarray(self.values[:, self.alone.columns.index((name, label))])

    @property
    def types(self) -> tuple[str, ...]:
        """The session types of the athlete, by the squad's names."""
        return self.alone.labels[n.TYPE_LOG_DIP]

    def typical_days(self, label: str) -> Floats:
        """Return draws of days to recover from a type's typical session."""
        dip = self.column(n.TYPE_LOG_DIP, label) - self.column(n.FIRST_NIGHT)
        threshold = threshold_of(np.exp(self.column(n.NOISE_SD)))
        rate = np.exp(self.column(n.TYPE_LOG_RATE, label))
        return days_to_recover(np.exp(dip), threshold, rate)


@dataclass(frozen=True)
class Pooled:
    """A group, and its athletes in it.

    Attributes:
        population: what they have in common.
        athletes: in the order in which they were given.
    """

    population: Population
    athletes: tuple[OfGroup, ...]

    @property
    def again(self) -> list[int]:
        """Which athletes must be fitted again under the group."""
        return [place for place, each in enumerate(self.athletes) if each.again]


def pool(
    athletes: Sequence[Alone],
    *,
    seed: int = 0,
    draws: int = DRAWS,
    priors: Priors | None = None,
) -> Pooled:
    """Return what athletes tell of their group, and the group of them.

    Takes time in proportion to the athletes.

    Args:
        athletes: two or more, fitted alone or again under what a group knows.
        seed: the same seed gives the same draws.
        draws: of the group.
        priors: what is believed of one athlete of whose group nothing is known.

    Raises:
        QuestionError: fewer than two athletes.
    """
    if len(athletes) < 2:
        raise QuestionError("A group needs at least two athletes.")
    priors = priors or Priors()
    rng = np.random.default_rng(seed)
    layout = Layout.of(athletes)
    beliefs = [prior_of_draws(each, layout, place) for place, each in enumerate(athletes)]
    sites = [site_of(each, belief) for each, belief in zip(athletes, beliefs, strict=True)]
    maps = layout.maps
    precision = np.array([m.T @ s.precision @ m for m, s in zip(maps, sites, strict=True)])
    pull = np.array([m.T @ s.pull for m, s in zip(maps, sites, strict=True)])
    weighed = min(draws, max(FOR_WEIGHTS, _WEIGHED // len(athletes)))
    each = max(1, min(10, _SWEEPS // (draws * max(1, len(athletes) // 20))))
    drawn = draw_together(layout, precision, pull, priors, rng, (WARM, draws, each))
    return Pooled(
        _population(layout, drawn, len(athletes), priors),
        tuple(
            _of_group(alone, belief, site, _Group(layout, place, drawn, priors), weighed, rng)
            for place, (alone, belief, site) in enumerate(
                zip(athletes, beliefs, sites, strict=True)
            )
        ),
    )


def _population(layout: Layout, drawn: Drawn, athletes: int, priors: Priors) -> Population:
    before = Population.unknown(len(drawn.means), priors=priors)
    labels, means = dict(before.labels), dict(before.means)
    spreads, families = dict(before.spreads), dict(before.families)
    for number, each in enumerate(SHARED):
        mine = [i for i, (name, _) in enumerate(layout.shared) if name == each.name]
        if layout.starts[number] == layout.starts[number + 1]:
            continue  # nobody has anything of it
        scale, share = drawn.scales[:, number], drawn.shares[:, number]
        spreads[each.name] = scale * np.sqrt(share)
        if each.family:
            families[each.name] = scale
        if each.dim:
            labels[each.name] = tuple(str(layout.shared[i][1]) for i in mine)
            means[each.name] = drawn.means[:, mine]
        else:
            means[each.name] = drawn.means[:, mine[0]]
    return Population(athletes, labels, means, spreads, families)


class _Group:
    """What a group's draws believe of one athlete's columns."""

    def __init__(self, layout: Layout, athlete: int, drawn: Drawn, priors: Priors) -> None:
        self.layout, self.athlete, self.drawn = layout, athlete, drawn
        self.centre = np.array([prior_of(each, priors).mean for each in SHARED])

    def believes(self, draws: Ints) -> Normals:
        """Return the prior that each of the draws is, of the athlete's columns."""
        index, quantity = self.layout.index[self.athlete], self.layout.quantity
        means, shares, scales = (values[draws] for values in self.drawn)
        whole = np.square(scales[:, quantity])
        own = index == OWN
        variance = np.where(own, whole, whole * shares[:, quantity])
        mean = np.where(own, self.centre[quantity], np.pad(means, ((0, 0), (0, 1)))[:, index])
        to_columns = self.layout.maps[self.athlete]
        covariances = np.einsum("md,td,kd->tmk", to_columns, variance, to_columns, optimize=True)
        return Normals(np.zeros(len(draws)), mean @ to_columns.T, covariances)


def _of_group(
    alone: Alone,
    before: Normals,
    site: Site,
    group: _Group,
    weighed: int,
    rng: np.random.Generator,
) -> OfGroup:
    every = np.arange(len(group.drawn.means))
    some = np.unique(np.linspace(0, len(every) - 1, weighed).astype(int))
    # Given each of the group's draws an athlete's draws have weights of their own, which are
    # brought to the same sum before they are added up, as the group's draws are alike in chance.
    logs = group.believes(some).log_density(alone.values)
    logs = logs - before.log_mixture(alone.values)[:, None]
    logs -= np.logaddexp.reduce(logs, axis=0)
    # Draws that a chain kept twice weigh the same; k is of weights without ties.
    apart = _TIE * np.arange(len(logs)) / len(logs)
    smoothed, k = smooth_weights(np.logaddexp.reduce(logs, axis=1) + apart)
    return OfGroup(alone, np.exp(smoothed), k, _moved(group.believes(every), site, rng))


def _moved(believed: Normals, site: Site, rng: np.random.Generator) -> Floats:
    tight = np.linalg.inv(believed.covariances)
    covariance = np.linalg.inv(tight + site.precision)
    pulled = np.einsum("tmk,tk->tm", tight, believed.means) + site.pull
    mean = np.einsum("tmk,tk->tm", covariance, pulled)
    normal = rng.standard_normal(mean.shape)
    return np.asarray(mean + np.einsum("tmk,tk->tm", np.linalg.cholesky(covariance), normal))
