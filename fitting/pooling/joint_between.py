"""A group given its athletes' parameters: drawn without a reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import exp, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.joint_dips import Dips, Spreads
from slackwater.fitting.pooling.joint_places import NAMES, NOBODY, OF_DIPS
from slackwater.fitting.pooling.slices import draw_one, draw_share
from slackwater.model import names as n
from slackwater.model.population import SHARED

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_DIPS: Final = NAMES.index(n.TYPE_LOG_DIP)
_MIDDLE: Final = NAMES.index(n.TYPE_DIP_MEAN)
_VALUES: Final = NAMES.index(n.ATTRIBUTE_DIP)


class Between:
    """Draws a group given athletes' parameters."""

    def __init__(self, joint: JointDensity, rng: np.random.Generator) -> None:
        """Take athletes and their group, and a source of randomness."""
        self.joint, self.rng = joint, rng
        self.rows_of = [np.flatnonzero(joint.rows.quantity == q) for q in range(len(SHARED))]
        self.family_of = {int(number): i for i, number in enumerate(joint.families)}
        has = np.unique(joint.rows.quantity).tolist()
        self.plain = [number for number in has if NAMES[number] not in OF_DIPS]

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
