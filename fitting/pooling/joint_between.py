"""A group given its athletes' parameters: drawn without a reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import exp, log
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.joint_places import NAMES, NOBODY
from slackwater.fitting.pooling.slices import draw_one, draw_share
from slackwater.model import names as n
from slackwater.model.population import SHARED

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Athletes by types: readings know the sums of both alone, so that both are drawn together.
_DIPS: Final = NAMES.index(n.TYPE_LOG_DIP)
_MIDDLE: Final = NAMES.index(n.TYPE_DIP_MEAN)
_CROSSED: Final = (_DIPS, _MIDDLE)


class Between:
    """Draws a group given athletes' parameters."""

    def __init__(self, joint: JointDensity, rng: np.random.Generator) -> None:
        """Take athletes and their group, and a source of randomness."""
        self.joint, self.rng = joint, rng
        self.rows_of = [np.flatnonzero(joint.rows.quantity == q) for q in range(len(SHARED))]
        self.family_of = {int(number): i for i, number in enumerate(joint.families)}
        self.plain = [q for q in np.unique(joint.rows.quantity).tolist() if q not in _CROSSED]

    def begin(self, parameters: Floats) -> Group:
        """Return a group near athletes' parameters, and give them its families' SDs in place."""
        joint = self.joint
        counts = np.bincount(joint.family_of, minlength=len(joint.families))
        log_sds = np.bincount(joint.family_of, parameters[joint.family_at], len(counts)) / counts
        parameters[joint.family_at] = log_sds[joint.family_of]
        nothing = np.zeros(len(joint.shared)), np.zeros(len(SHARED))
        return self.draw(Group(*nothing, joint.family_scores(log_sds)), parameters)

    def draw(self, group: Group, parameters: Floats) -> Group:
        """Return the next group, and change in place what no reading knows of the athletes.

        That is the SDs of families, which are the group's; the standard scores over them of types'
        rates and of attributes' values; and means over types of log dips.
        """
        joint, rows = self.joint, self.joint.rows
        scores = rows.scores(parameters)
        means, shares, log_sds = group.means.copy(), group.share, joint.log_sds(group.families)
        for number in self.plain:
            mine, family = self.rows_of[number], self.family_of.get(number)
            log_sd = 0.0 if family is None else float(log_sds[family])
            spread = Spread.of(exp(log_sd) * scores[mine], rows.mean[mine])
            shares[number] = share = draw_share(
                partial(spread.log_density, log_sd=log_sd), float(shares[number]), self.rng
            )
            if family is not None:
                of_log_sd = self._with_belief(partial(spread.log_density, share), family)
                log_sds[family] = log_sd = draw_one(of_log_sd, log_sd, self.rng)
                parameters[rows.at[mine]] = exp(-log_sd) * spread.values
                parameters[joint.family_at[joint.family_of == family]] = log_sd
            means[spread.which] = spread.draw_means(share, log_sd, self.rng)
        if len(rows.dips):
            self._dips(means, shares, log_sds, parameters)
        return Group(means, np.log(shares / (1 - shares)), joint.family_scores(log_sds))

    def _dips(self, means: Floats, shares: Floats, log_sds: Floats, parameters: Floats) -> None:
        rows, family, rng = self.joint.rows, self.family_of[_DIPS], self.rng
        middles = self.rows_of[_MIDDLE]
        centre, scale = rows.centre[middles[0]], rows.scale[middles[0]]
        values = parameters[rows.at[rows.dips]] - rows.added(parameters) - centre
        crossed = Crossed.of(values, rows.athlete[rows.dips], rows.mean[rows.dips], float(scale))
        of_types, of_middle = float(shares[_DIPS]), float(shares[_MIDDLE])
        log_sd = float(log_sds[family])
        of_types = draw_share(lambda x: crossed.log_density(x, log_sd, of_middle), of_types, rng)
        of_middle = draw_share(lambda x: crossed.log_density(of_types, log_sd, x), of_middle, rng)
        density = self._with_belief(lambda x: crossed.log_density(of_types, x, of_middle), family)
        log_sd = draw_one(density, log_sd, rng)
        shares[_DIPS], shares[_MIDDLE], log_sds[family] = of_types, of_middle, log_sd
        drawn = crossed.draw(of_types, log_sd, of_middle, rng)
        means[rows.mean[middles[0]]] = drawn.middle
        means[crossed.which] = drawn.types
        parameters[rows.at[middles]] = centre + drawn.athletes
        parameters[rows.sd] = log_sd

    def _with_belief(
        self, density: Callable[[float], float], family: int
    ) -> Callable[[float], float]:
        return lambda x: density(x) - 0.5 * self.joint.family_score(x, family) ** 2


@dataclass(frozen=True)
class Spread:
    """Values of one quantity about the J means that they have, as far as a spread goes by them.

    Given share b^2 and SD s, a mean is s a w with w ~ N(0, 1) and a^2 + b^2 = 1, and a value of it
    N(s a w, s^2 b^2); a value that has no mean of the group's is N(0, s^2).

    Attributes:
        values: all of them.
        which: the group's means, shape (J,).
        counts: how many values each has, shape (J,).
        middles: their mean, shape (J,).
        squares: sum of all values' squared distances from their middle.
        alone: how many have no mean.
        alone_squares: the sum of their squares.
    """

    values: Floats
    which: Ints
    counts: Ints
    middles: Floats
    squares: float
    alone: int
    alone_squares: float

    @classmethod
    def of(cls, values: Floats, means: Ints) -> Spread:
        """Take values and which mean each has; `NOBODY` for none."""
        told = means != NOBODY
        which, group, counts = np.unique(means[told], return_inverse=True, return_counts=True)
        middles = np.bincount(group, values[told], len(which)) / counts
        left = values[told] - middles[group]
        own = values[~told]
        return cls(values, which, counts, middles, float(left @ left), len(own), float(own @ own))

    def log_density(self, share: float, log_sd: float) -> float:
        """Return the log density of the values, their means integrated out, up to a constant."""
        variance = exp(2 * log_sd)
        between = share * variance
        of_middles = (1 - share) * variance + between / self.counts
        found = -0.5 * float((np.log(of_middles) + self.middles**2 / of_middles).sum())
        found -= 0.5 * int(self.counts.sum() - len(self.counts)) * log(between)
        found -= 0.5 * self.squares / between
        return found - self.alone * log_sd - 0.5 * self.alone_squares / variance

    def draw_means(self, share: float, log_sd: float, rng: np.random.Generator) -> Floats:
        """Return draws of the means' standard scores w, shape (J,)."""
        a, sd = np.sqrt(1 - share), exp(log_sd)
        precision = 1 + self.counts * (1 - share) / share
        middle = self.counts * a * self.middles / (share * sd) / precision
        return np.asarray(middle + rng.standard_normal(len(middle)) / np.sqrt(precision))


class CrossedDrawn(NamedTuple):
    """Draws of what crossed values are sums of.

    Attributes:
        middle: the standard score of the group's mean over types.
        types: those of its means of types, shape (J,).
        athletes: the athletes' means over types, shape (A,).
    """

    middle: float
    types: Floats
    athletes: Floats


@dataclass(frozen=True)
class Crossed:
    """Values of A athletes by J types, as far as means and spreads of both go by them.

    A value is an athlete's mean over types, N(m, scale^2 b^2) with m ~ N(0, scale^2 a^2), and the
    athlete's own of the type, as `Spread` has it. All means are integrated out.

    Attributes:
        which: the group's means of types, shape (J,).
        scale: SD of what is believed of one athlete's mean.
        told: counts and sums of products of the means' part in values that have a type's mean.
        alone: the same of those that have none.
    """

    which: Ints
    scale: float
    told: Products
    alone: Products

    @classmethod
    def of(cls, values: Floats, athletes: Ints, means: Ints, scale: float) -> Crossed:
        """Take values, whose they are and which mean each has; `NOBODY` for none."""
        told = means != NOBODY
        which, types = np.unique(means[told], return_inverse=True)
        whose = np.unique(athletes, return_inverse=True)[1]
        parts = np.zeros((len(values), 1 + len(which) + whose.max() + 1))
        parts[np.arange(len(values)), 1 + len(which) + whose] = 1.0
        parts[np.flatnonzero(told), 1 + types] = 1.0
        both = (Products.of(parts[each], values[each]) for each in (told, ~told))
        return cls(which, scale, *both)

    def _posterior(
        self, of_types: float, log_sd: float, of_middle: float
    ) -> tuple[Floats, Floats, float]:
        """Return precision and pull of the means, and what they are integrated out of."""
        variance, scale = exp(2 * log_sd), self.scale**2
        within, between = 1 / (of_types * variance), 1 / (of_middle * scale)
        athletes = slice(1 + len(self.which), None)
        precision = self.told.parts * within + self.alone.parts / variance
        pull = self.told.pull * within + self.alone.pull / variance
        count = len(precision) - athletes.start
        prior = np.full(len(precision), between)
        prior[0] = 1 / ((1 - of_middle) * scale)
        prior[1 : athletes.start] = 1 / ((1 - of_types) * variance)
        precision[np.diag_indices(len(prior))] += prior
        precision[0, 0] += count * between
        precision[0, athletes] -= between
        precision[athletes, 0] -= between
        apart = self.told.size * log(within) - self.told.square * within
        apart -= self.alone.size * 2 * log_sd + self.alone.square / variance
        return precision, pull, 0.5 * (apart + float(np.log(prior).sum()))

    def log_density(self, of_types: float, log_sd: float, of_middle: float) -> float:
        """Return the log density of the values, up to a constant.

        Args:
            of_types: the share between athletes of a type's own.
            log_sd: log SD of types.
            of_middle: the share between athletes of their means.
        """
        precision, pull, apart = self._posterior(of_types, log_sd, of_middle)
        root = np.linalg.cholesky(precision)
        towards = solve_triangular(root, pull, lower=True, check_finite=False)
        return apart - float(np.log(root.diagonal()).sum() - 0.5 * towards @ towards)

    def draw(
        self, of_types: float, log_sd: float, of_middle: float, rng: np.random.Generator
    ) -> CrossedDrawn:
        """Return draws of all means, given their spreads."""
        precision, pull, _ = self._posterior(of_types, log_sd, of_middle)
        root = np.linalg.cholesky(precision)
        towards = solve_triangular(root, pull, lower=True, check_finite=False)
        normal = rng.standard_normal(len(pull))
        found = solve_triangular(root.T, towards + normal, lower=False, check_finite=False)
        first = 1 + len(self.which)
        middle = float(found[0] / (self.scale * np.sqrt(1 - of_middle)))
        types = found[1:first] / (exp(log_sd) * np.sqrt(1 - of_types))
        return CrossedDrawn(middle, types, found[first:])


class Products(NamedTuple):
    """Sums over values of the products of their parts and themselves."""

    parts: Floats
    pull: Floats
    square: float
    size: int

    @classmethod
    def of(cls, parts: Floats, values: Floats) -> Products:
        """Take what means are in each value, shape (values, means), and the values."""
        return cls(parts.T @ parts, parts.T @ values, float(values @ values), len(values))
