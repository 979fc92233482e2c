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

_DIPS: Final = NAMES.index(n.TYPE_LOG_DIP)
_MIDDLE: Final = NAMES.index(n.TYPE_DIP_MEAN)
_VALUES: Final = NAMES.index(n.ATTRIBUTE_DIP)
_OF_DIPS: Final = (_DIPS, _MIDDLE, _VALUES)


class Between:
    """Draws a group given athletes' parameters."""

    def __init__(self, joint: JointDensity, rng: np.random.Generator) -> None:
        """Take athletes and their group, and a source of randomness."""
        self.joint, self.rng = joint, rng
        self.rows_of = [np.flatnonzero(joint.rows.quantity == q) for q in range(len(SHARED))]
        self.family_of = {int(number): i for i, number in enumerate(joint.families)}
        self.plain = [q for q in np.unique(joint.rows.quantity).tolist() if q not in _OF_DIPS]

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
        and attributes' rates; and of log dips how much of them is due to the athlete, to the type
        and to its attributes.
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
            means[spread.which] = spread.draw_means(share, log_sd, self.rng)
        if len(rows.dips):
            self._dips(means, shares, log_sds, parameters)
        parameters[joint.family_at] = log_sds[joint.family_of]
        return Group(means, np.log(shares / (1 - shares)), joint.family_scores(log_sds))

    def _dips(self, means: Floats, shares: Floats, log_sds: Floats, parameters: Floats) -> None:
        rows, rng = self.joint.rows, self.rng
        of_middle, of_values = self.rows_of[_MIDDLE], self.rows_of[_VALUES]
        centre, scale = rows.centre[of_middle[0]], float(rows.scale[of_middle[0]])
        dips = Dips.of(
            parameters[rows.at[rows.dips]] - centre,
            rows.mean[rows.dips],
            np.searchsorted(rows.at[of_middle], rows.middle),
            rows.mean[of_values],
            (rows.of, np.searchsorted(rows.at[of_values], rows.value)),
            scale,
        )
        spreads = Spreads(
            *(float(shares[number]) for number in (_MIDDLE, _DIPS, _VALUES)),
            *(
                float(log_sds[self.family_of[number]]) if number in self.family_of else 0.0
                for number in (_DIPS, _VALUES)
            ),
        )
        for name in ("middle", "types", "values"):
            spreads = self._next_share(dips, spreads, name)
        for name, number in (("log_sd", _DIPS), ("value_log_sd", _VALUES)):
            if number in self.family_of:
                spreads = self._next_log_sd(dips, spreads, name, self.family_of[number])
                log_sds[self.family_of[number]] = getattr(spreads, name)
        shares[[_MIDDLE, _DIPS, _VALUES]] = spreads[:3]
        drawn = dips.draw(spreads, rng)
        means[rows.mean[of_middle[0]]] = drawn.middle
        means[dips.types], means[dips.values] = drawn.of_types, drawn.of_values
        parameters[rows.at[of_middle]] = centre + drawn.athletes
        parameters[rows.at[of_values]] = drawn.effects * exp(-spreads.value_log_sd)

    def _next_share(self, dips: Dips, spreads: Spreads, name: str) -> Spreads:
        def density(share: float) -> float:
            return dips.log_density(spreads._replace(**{name: share}))

        return spreads._replace(**{name: draw_share(density, getattr(spreads, name), self.rng)})

    def _next_log_sd(self, dips: Dips, spreads: Spreads, name: str, family: int) -> Spreads:
        def density(log_sd: float) -> float:
            return dips.log_density(spreads._replace(**{name: log_sd}))

        of_log_sd = self._with_belief(density, family)
        return spreads._replace(**{name: draw_one(of_log_sd, getattr(spreads, name), self.rng)})

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


class Spreads(NamedTuple):
    """How log dips spread.

    Attributes:
        middle: the share between athletes of the mean over types.
        types: that of a type's own.
        values: that of an attribute's value.
        log_sd: log SD of types.
        value_log_sd: that of attributes' values.
    """

    middle: float
    types: float
    values: float
    log_sd: float
    value_log_sd: float


class DipsDrawn(NamedTuple):
    """Draws of what log dips are sums of; of the group's means their standard scores.

    Attributes:
        middle: of the group's mean over types.
        of_types: of its means of types, shape (J,).
        of_values: of its means of attributes' values, shape (V,).
        athletes: athletes' means over types, shape (A,).
        effects: what each value adds to an athlete's dips, shape (E,).
    """

    middle: float
    of_types: Floats
    of_values: Floats
    athletes: Floats
    effects: Floats


@dataclass(frozen=True)
class Dips:
    """Log dips of athletes and types, as far as means and spreads go by them.

    A dip is the sum of the athlete's mean over types, of what the type's attributes add, and of
    the athlete's own of the type. Readings know the sums alone, so that all parts are integrated
    out together: everything is normal, each part about its mean, and most of these about 0.

    Attributes:
        types: the group's means of types, shape (J,).
        values: its means of attributes' values, shape (V,).
        scale: SD of what is believed of one athlete's mean over types.
        starts: where each of the five parts of `DipsDrawn` starts among all, and how many all are.
        kind: which of six variances each part has about its mean.
        about: which part its mean is; `NOBODY` where it is 0.
        told: sums over dips of types that have a mean of the group's.
        alone: the same of those that have none.
    """

    types: Ints
    values: Ints
    scale: float
    starts: Ints
    kind: Ints
    about: Ints
    told: Products
    alone: Products

    @classmethod
    def of(
        cls,
        dips: Floats,
        types: Ints,
        athletes: Ints,
        values: Ints,
        pairs: tuple[Ints, Ints],
        scale: float,
    ) -> Dips:
        """Take log dips and what they are sums of.

        Args:
            dips: over what is believed of their mean, shape (D,).
            types: which of the group's means each type has, `NOBODY` for none, shape (D,).
            athletes: whose they are, shape (D,).
            values: which of the group's means the effect of each value has, shape (E,).
            pairs: which dips have which effects.
            scale: SD of what is believed of one athlete's mean over types.
        """
        told, shared = types != NOBODY, values != NOBODY
        which, type_of = np.unique(types[told], return_inverse=True)
        means, value_of = np.unique(values[shared], return_inverse=True)
        sizes = [1, len(which), len(means), athletes.max() + 1, len(values)]
        starts = np.cumsum([0, *sizes])
        kind = np.repeat(np.arange(5), sizes)
        kind[starts[4] :] += ~shared
        about = np.full(starts[5], NOBODY)
        about[starts[3] : starts[4]] = 0
        about[starts[4] + np.flatnonzero(shared)] = starts[2] + value_of
        parts = np.zeros((len(dips), starts[5]))
        parts[np.flatnonzero(told), starts[1] + type_of] = 1.0
        parts[np.arange(len(dips)), starts[3] + athletes] = 1.0
        parts[pairs[0], starts[4] + pairs[1]] = 1.0
        sums = (Products.of(parts[each], dips[each]) for each in (told, ~told))
        return cls(which, means, scale, starts, kind, about, *sums)

    def _posterior(self, spreads: Spreads) -> tuple[Floats, Floats, float]:
        """Return precision and pull of the parts, and what they are integrated out of."""
        scale, types, values = self.scale**2, exp(2 * spreads.log_sd), exp(2 * spreads.value_log_sd)
        variances = np.array(
            [
                (1 - spreads.middle) * scale,
                (1 - spreads.types) * types,
                (1 - spreads.values) * values,
                spreads.middle * scale,
                spreads.values * values,
                values,
            ]
        )
        tight = 1.0 / variances[self.kind]
        within = 1.0 / (spreads.types * types)
        precision = self.told.parts * within + self.alone.parts / types
        pull = self.told.pull * within + self.alone.pull / types
        precision[np.diag_indices(len(tight))] += tight
        parts = np.flatnonzero(self.about != NOBODY)
        means = self.about[parts]
        np.add.at(precision, (means, means), tight[parts])
        precision[means, parts] -= tight[parts]
        precision[parts, means] -= tight[parts]
        apart = self.told.size * log(within) - self.told.square * within
        apart -= self.alone.size * 2 * spreads.log_sd + self.alone.square / types
        return precision, pull, 0.5 * (apart + float(np.log(tight).sum()))

    def log_density(self, spreads: Spreads) -> float:
        """Return the log density of the dips, up to a constant."""
        precision, pull, apart = self._posterior(spreads)
        root = np.linalg.cholesky(precision)
        towards = solve_triangular(root, pull, lower=True, check_finite=False)
        return apart - float(np.log(root.diagonal()).sum() - 0.5 * towards @ towards)

    def draw(self, spreads: Spreads, rng: np.random.Generator) -> DipsDrawn:
        """Return draws of all parts, given how they spread."""
        precision, pull, _ = self._posterior(spreads)
        root = np.linalg.cholesky(precision)
        towards = solve_triangular(root, pull, lower=True, check_finite=False)
        normal = rng.standard_normal(len(pull))
        found = solve_triangular(root.T, towards + normal, lower=False, check_finite=False)
        middle, types, values, athletes, effects = np.split(found, self.starts[1:-1])
        return DipsDrawn(
            float(middle[0] / (self.scale * np.sqrt(1 - spreads.middle))),
            types / (exp(spreads.log_sd) * np.sqrt(1 - spreads.types)),
            values / (exp(spreads.value_log_sd) * np.sqrt(1 - spreads.values)),
            athletes,
            effects,
        )


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
