"""Log dips as sums of what is due to athlete, type and attributes, integrated out together."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from slackwater.fitting.pooling.joint_places import NOBODY

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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

    def _solved(self, spreads: Spreads) -> tuple[Floats, Floats, float]:
        """Return the root of the parts' precision, it solved for their pull, and what is left."""
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
        root = np.asarray(np.linalg.cholesky(precision), float)
        towards = solve_triangular(root, pull, lower=True, check_finite=False)
        return root, towards, 0.5 * (apart + float(np.log(tight).sum()))

    def log_density(self, spreads: Spreads) -> float:
        """Return the log density of the dips, up to a constant."""
        root, towards, apart = self._solved(spreads)
        return apart - float(np.log(root.diagonal()).sum() - 0.5 * towards @ towards)

    def draw(self, spreads: Spreads, rng: np.random.Generator) -> DipsDrawn:
        """Return draws of all parts, given how they spread."""
        root, towards, _ = self._solved(spreads)
        normal = rng.standard_normal(len(towards))
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
