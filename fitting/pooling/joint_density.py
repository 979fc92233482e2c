"""The log density of athletes and their group, from compiled single athletes.

The log density of the whole is that of each athlete's own model, as it is compiled for one athlete,
with what is believed of a single athlete taken out and what the group believes put in:

    sum over athletes of [ log p(readings, athlete) + sum of log N(t; a w, b^2) - log N(t; 0, 1) ]

where t is a quantity's standard score under the priors, w ~ N(0, 1) the group's mean of it,
b^2 ~ Uniform(0, 1) the share between athletes and a^2 = 1 - b^2. So nothing of the model is stated
twice, and a group of which nothing is known (b = 1) is as many single athletes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_places import (
    FAMILY_SD,
    NAMES,
    NOBODY,
    labels_of,
    places_of,
    rows_of,
    shared_by,
)
from slackwater.fitting.sampling.brief import Compiled
from slackwater.model.population import SHARED, Population, prior_of
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Group(NamedTuple):
    """A point of a group; Q shared means, G quantities, F families.

    Attributes:
        means: standard scores w of the shared means, shape (Q,).
        logits: of the shares b^2 between athletes, by quantity of `SHARED`, shape (G,).
        families: standard scores of the log SDs of families, shape (F,).
    """

    means: Floats
    logits: Floats
    families: Floats

    @property
    def share(self) -> Floats:
        """The shares b^2, shape (G,)."""
        return np.asarray(1.0 / (1.0 + np.exp(-self.logits)))


@dataclass(frozen=True)
class Believed:
    """What a group believes of one athlete's parameters, over what is believed of a single one.

    A factor exp(-sum of ((t - middle)^2 / variance - t^2) / 2) where t = slopes @ x + start.

    Attributes:
        slopes: shape (rows, parameters).
        start: shape (rows,).
        middle: shape (rows,).
        variance: shape (rows,).
    """

    slopes: Floats
    start: Floats
    middle: Floats
    variance: Floats

    def densities(self, x: Floats) -> tuple[Floats, Floats]:
        """Return the logarithm of the factor at points, and its slopes by the parameters."""
        t = x @ self.slopes.T + self.start
        apart = t - self.middle
        left = apart / self.variance
        return 0.5 * (t * t - left * apart).sum(axis=1), (t - left) @ self.slopes

    @property
    def precision(self) -> Floats:
        """How much more narrowly the group knows the parameters: the negative Hessian."""
        return np.asarray((self.slopes.T * (1.0 / self.variance - 1.0)) @ self.slopes)


class JointDensity:
    """The log density of A athletes and their group.

    Parameters are those of all athletes' models, one athlete after the other. What of them is the
    log SD of a family is the group's, and the same for all.

    Attributes:
        densities: each athlete's own log density with its slopes.
        places: where each athlete's parameters stand, by quantity.
        shared: what has a mean of the group's: quantity and label.
        rows: what the group tells of among the parameters.
        told: which rows have a mean of the group's.
        families: which of `SHARED` are families, shape (F,).
        quantities: which of `SHARED` have a shared mean.
        family_at: places of families' log SDs.
        family_of: which family each of them is of.
    """

    def __init__(
        self, compiled: Sequence[Compiled], seasons: Sequence[Season], priors: Priors
    ) -> None:
        """Take compiled athletes, whose data the code holds.

        Args:
            compiled: one an athlete.
            seasons: theirs, each up to its last reading.
            priors: what is believed of one athlete.
        """
        self.priors = priors
        self.densities = [each.code.density() for each in compiled]
        self.starts = np.cumsum([0, *(each.code.n_dim for each in compiled)])
        self.places = places = [
            places_of(each.code, start) for each, start in zip(compiled, self.starts, strict=False)
        ]
        self.shared = shared_by([labels_of(season) for season in seasons], places)
        self.rows = rows_of(seasons, places, self.shared, priors)
        self.told = self.rows.mean != NOBODY
        self.quantities = np.unique([NAMES.index(name) for name, _ in self.shared])
        at: dict[int, list[int]] = {}
        for each in places:
            for name, sd in FAMILY_SD.items():
                if sd in each:
                    at.setdefault(NAMES.index(name), []).append(int(each[sd][0]))
        self.families = np.array(sorted(at), int)
        self.family_at = np.array([place for f in self.families for place in at[f]], int)
        self.family_of = np.repeat(np.arange(len(at)), [len(at[f]) for f in self.families])
        beliefs = [getattr(priors, SHARED[f].prior) for f in self.families]
        self.family_mean, self.family_sd = np.array(beliefs, float).reshape(-1, 2).T

    @property
    def athletes(self) -> int:
        """How many there are."""
        return len(self.densities)

    def own(self, athlete: int) -> slice:
        """Return where an athlete's parameters stand."""
        return slice(int(self.starts[athlete]), int(self.starts[athlete + 1]))

    def log_sds(self, families: Floats) -> Floats:
        """Return the log SDs that standard scores stand for, shape (..., F)."""
        return np.asarray(self.family_mean + self.family_sd * families)

    def family_scores(self, log_sds: Floats) -> Floats:
        """Return the standard scores of log SDs, shape (..., F)."""
        return np.asarray((log_sds - self.family_mean) / self.family_sd)

    def family_score(self, log_sd: float, family: int) -> float:
        """Return the standard score of one family's log SD."""
        return float((log_sd - self.family_mean[family]) / self.family_sd[family])

    def of_athletes(self, parameters: Floats) -> tuple[float, Floats]:
        """Return the sum of all athletes' own log densities, and its slopes by the parameters."""
        slopes = np.empty(len(parameters))
        total = 0.0
        for athlete, density in enumerate(self.densities):
            own = self.own(athlete)
            log, slopes[own] = density(parameters[own])
            total += log
        return total, slopes

    def believed(self, athlete: int, group: Group, parameters: Floats, at: Ints) -> Believed:
        """Return what the group believes of some of an athlete's parameters.

        Args:
            athlete: which.
            group: the group.
            parameters: of all athletes; of them the log SDs of families are taken.
            at: places among the athlete's own, which hold all that the group tells of.
        """
        rows, own = self.rows, self.own(athlete)
        mine = np.flatnonzero(self.told & (rows.athlete == athlete))
        to = np.full(len(rows.at), NOBODY)
        to[mine] = np.arange(len(mine))
        slopes = np.zeros((len(mine), own.stop - own.start))
        scale = rows.scale[mine]
        start = -rows.centre[mine] / scale
        slopes[np.arange(len(mine)), rows.at[mine] - own.start] = 1 / scale
        dips = np.flatnonzero(to[rows.dips] != NOBODY)
        row, sd = to[rows.dips[dips]], np.exp(parameters[rows.sd[dips]])
        slopes[row, rows.at[rows.dips[dips]] - own.start] = 1 / sd
        slopes[row, rows.middle[dips] - own.start] = -1 / sd
        pairs = np.isin(rows.of, dips)
        unit = np.exp(parameters[rows.value_sd[pairs]] - parameters[rows.sd[rows.of[pairs]]])
        slopes[to[rows.dips[rows.of[pairs]]], rows.value[pairs] - own.start] = -unit
        share = group.share[rows.quantity[mine]]
        middle = np.sqrt(1 - share) * group.means[rows.mean[mine]]
        return Believed(slopes[:, at], start, middle, share)

    def population(self, groups: Group) -> Population:
        """Return the population that groups are, each part with a dimension of T draws first."""
        draws = len(groups.means)
        before = Population.unknown(draws, priors=self.priors)
        share = groups.share
        scales = np.exp(self.log_sds(groups.families)).T
        by_number = dict(zip(self.families.tolist(), scales, strict=True))
        labels, of_mean = dict(before.labels), dict(before.means)
        spreads, of_families = dict(before.spreads), dict(before.families)
        for number, each in enumerate(SHARED):
            mine = [place for place, (name, _) in enumerate(self.shared) if name == each.name]
            centre, sd_of_one = prior_of(each, self.priors)
            scale = by_number.get(number, np.full(draws, sd_of_one))
            if number in by_number:
                of_families[each.name] = scale
            if mine:
                scores = np.sqrt(1 - share[:, [number]]) * groups.means[:, mine]
                values = centre + scale[:, None] * scores
                spreads[each.name] = scale * np.sqrt(share[:, number])
                of_mean[each.name] = values if each.dim else values[:, 0]
                if each.dim:
                    labels[each.name] = tuple(str(self.shared[place][1]) for place in mine)
        return Population(self.athletes, labels, of_mean, spreads, of_families)
