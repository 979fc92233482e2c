"""The log density of athletes and their group, and its gradient, from compiled single athletes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_places import Dips, Shares, TypeDips, dips_of
from slackwater.fitting.sampling.brief import Compiled
from slackwater.fitting.sampling.machine_code import MachineCode
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.population import SHARED, Population, prior_of
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Where readings say much of each athlete, the athlete's own value is sampled; else its distance
# from the group's mean.
CENTRED: Final = frozenset({n.NOISE_SD})
# A family's SD among an athlete's parameters; all athletes have the group's.
FAMILY_SD: Final = {
    n.TYPE_LOG_DIP: n.TYPE_DIP_SD,
    n.TYPE_LOG_RATE: n.TYPE_RATE_SD,
    n.ATTRIBUTE_DIP: n.ATTRIBUTE_DIP_SD,
    n.ATTRIBUTE_RATE: n.ATTRIBUTE_RATE_SD,
}
_FURTHEST: Final = 33.0  # logit of a share, beyond which it is 0 or 1 to the last digit
_SCORES: Final = {n.TYPE_LOG_RATE: n.TYPE_RATE_Z}  # what is sampled of it are standard scores


class JointDensity:
    """The log density of A athletes and their group, at points of one vector.

    The vector holds the standard scores of the Q means that are shared, the logits of the shares
    between athletes of G quantities, the standard scores of the log SDs of F families, and what is
    left of the athletes' own parameters; of types' log dips what `TypeDips` says.

    Attributes:
        start: a point to begin near.
        shared: what has a mean of the group's: quantity and label.
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
        self.codes = [each.code for each in compiled]
        self.ends = np.cumsum([code.n_dim for code in self.codes])
        self.priors = priors
        labels = [_labels(season) for season in seasons]
        places = [_places(each, end) for each, end in zip(self.codes, self.ends, strict=True)]
        self.shared = _shared(labels, places)
        where = {key: i for i, key in enumerate(self.shared)}
        plain: dict[bool, list[tuple[int, int, int, float, float]]] = {True: [], False: []}
        dips: list[tuple[int, int, int, int]] = []
        values: list[list[int]] = []
        family_at: dict[int, list[int]] = {}
        for has, at, season in zip(labels, places, seasons, strict=True):
            for number, each in enumerate(SHARED):
                name = _SCORES.get(each.name, each.name)
                if name not in at:
                    continue
                if each.family:
                    family_at.setdefault(number, []).append(int(at[FAMILY_SD[each.name]][0]))
                if each.name == n.TYPE_LOG_DIP:
                    for dip, pairs in dips_of(has[each.name], at, season, where):
                        dips.append(dip)
                        values.append(pairs)
                    continue
                centre, scale = (0.0, 1.0) if each.family else prior_of(each, priors)
                for place, label in zip(at[name], has[each.name], strict=True):
                    mean = where.get((each.name, label), -1)
                    if mean >= 0:
                        row = int(place), mean, number, centre, scale
                        plain[each.name in CENTRED].append(row)
        self.centred, self.apart = Shares.of(plain[True]), Shares.of(plain[False])
        self.dips = Dips.of_rows(dips, values)
        self.quantities = np.unique([_number(name) for name, _ in self.shared])
        self.families = np.array(sorted(family_at), int)
        self.family_at = np.concatenate([family_at[f] for f in self.families] or [[]]).astype(int)
        self.family_of = np.repeat(
            np.arange(len(self.families)), [len(family_at[f]) for f in self.families]
        )
        beliefs = [getattr(priors, SHARED[f].prior) for f in self.families]
        self.family_priors = np.array(beliefs, float).reshape(-1, 2)
        self.own = np.setdiff1d(np.arange(self.ends[-1]), self.family_at)
        starts = [np.repeat(each.start, each.code.lengths) for each in compiled]
        begin = np.concatenate(starts)
        begin[self.apart.at] = 0.0
        ahead = np.zeros(len(self.shared) + len(self.quantities) + len(self.families))
        self.start = np.concatenate([ahead, begin[self.own]])
        self.types = self._places_of_types()
        if self.types:
            self.start[[self.types.share, self.types.both]] = self.types.belief[0] - 0.35

    def _places_of_types(self) -> TypeDips | None:
        """Return where the group's log dips of types stand; None where no two share a type."""
        at = [i for i, (name, _) in enumerate(self.shared) if name == n.TYPE_LOG_DIP]
        if not at:
            return None
        shares = dict(zip(self.quantities.tolist(), range(len(self.quantities)), strict=True))
        dips, middle = _number(n.TYPE_LOG_DIP), _number(n.TYPE_DIP_MEAN)
        family = self.families.tolist().index(dips)
        first = len(self.shared)
        return TypeDips(
            at=np.array(at),
            middle=self.shared.index((n.TYPE_DIP_MEAN, None)),
            share=first + shares[dips],
            both=first + len(shares) + family,
            middle_share=first + shares[middle],
            scale=prior_of(SHARED[middle], self.priors).sd,
            belief=self.family_priors[family],
        )

    def _cut(self, points: Floats) -> list[Floats]:
        """Return means' scores, shares, families' scores and own parameters of points (..., M)."""
        ends = np.cumsum([len(self.shared), len(self.quantities), len(self.families)])
        return np.split(self.types.taken(points) if self.types else points, ends, axis=-1)

    def _spread(self, shares: Floats) -> Floats:
        """Return the shares by number of the quantity, shape (..., G of `SHARED`)."""
        out = np.full((*shares.shape[:-1], len(SHARED)), 0.5)
        out[..., self.quantities] = 1.0 / (1.0 + np.exp(-shares))
        return out

    def _parameters(self, cut: list[Floats]) -> tuple[Floats, Floats]:
        """Return all athletes' parameters at points, and the standard scores behind `apart`."""
        means, logits, families, own = cut
        out = np.empty((*own.shape[:-1], self.ends[-1]))
        out[..., self.own] = own
        middle, sd = self.family_priors.T
        out[..., self.family_at] = (middle + sd * families)[..., self.family_of]
        share = self._spread(logits)[..., self.apart.quantity]
        scores = np.sqrt(1 - share) * means[..., self.apart.mean]
        scores += np.sqrt(share) * out[..., self.apart.at]
        out[..., self.apart.at] = self.apart.centre + self.apart.scale * scores
        return out, scores

    def athletes(self, points: Floats) -> list[Floats]:
        """Return each athlete's own points, (S, length), of points (S, M)."""
        return np.split(self._parameters(self._cut(points))[0], self.ends[:-1], axis=-1)

    def population(self, points: Floats) -> Population:
        """Return the group at points (S, M)."""
        means, logits, families, _ = self._cut(points)
        before = Population.unknown(len(points), priors=self.priors)
        share = self._spread(logits)
        middle, sd = self.family_priors.T
        by_number = dict(zip(self.families.tolist(), np.exp(middle + sd * families).T, strict=True))
        labels, of_mean = dict(before.labels), dict(before.means)
        spreads, of_families = dict(before.spreads), dict(before.families)
        for number, each in enumerate(SHARED):
            mine = [i for i, (name, _) in enumerate(self.shared) if name == each.name]
            centre, sd_of_one = prior_of(each, self.priors)
            scale = by_number.get(number, np.full(len(points), sd_of_one))
            if each.family and number in by_number:
                of_families[each.name] = scale
            if mine:
                scores = np.sqrt(1 - share[:, [number]]) * means[:, mine]
                values = centre + scale[:, None] * scores
                spreads[each.name] = scale * np.sqrt(share[:, number])
                of_mean[each.name] = values if each.dim else values[:, 0]
                if each.dim:
                    labels[each.name] = tuple(str(self.shared[i][1]) for i in mine)
        return Population(len(self.codes), labels, of_mean, spreads, of_families)

    def density(self) -> Callable[[Floats], tuple[float, Floats]]:
        """Return what gives the log density and its gradient at a point, for one thread."""
        each = [code.density() for code in self.codes]
        starts = np.concatenate([[0], self.ends])

        def density(point: Floats) -> tuple[float, Floats]:
            cut = self._cut(point)
            if np.abs(cut[1]).max() > _FURTHEST:
                return -np.inf, np.zeros(len(point))
            parameters, scores = self._parameters(cut)
            slopes = np.empty(len(parameters))
            total = 0.0
            for of_athlete, a, b in zip(each, starts, starts[1:], strict=False):
                log, slopes[a:b] = of_athlete(parameters[a:b])
                total += log
            if not np.isfinite(total):
                return -np.inf, np.zeros(len(point))
            total, slopes = self._of_group(cut, parameters, scores, total, slopes)
            if self.types is None:
                return total, slopes
            gained, slopes = self.types.given(point, np.concatenate(cut), slopes)
            return total + gained, slopes

        return density

    def _of_group(
        self,
        cut: list[Floats],
        parameters: Floats,
        scores: Floats,
        total: float,
        slopes: Floats,
    ) -> tuple[float, Floats]:
        """Put the group's beliefs in the place of the priors.

        Args:
            cut: where.
            parameters: of all athletes there.
            scores: standard scores of what is sampled as a distance from the group's mean.
            total: the sum of all athletes' log densities.
            slopes: its derivatives by the parameters.
        """
        means, logits, families, own = cut
        share = self._spread(logits)
        by_share = np.zeros(len(SHARED))
        by_mean = -means
        total += 0.5 * float((families[self.family_of] ** 2).sum() - (families**2).sum())
        total -= 0.5 * float((means**2).sum())
        # What is sampled as it is.
        of = self.centred
        t = (parameters[of.at] - of.centre) / of.scale
        log, by_t = self._centred(t, of.mean, of.quantity, means, share, by_mean, by_share)
        total += log
        slopes[of.at] += by_t / of.scale
        total += self._dips(parameters, means, share, by_mean, by_share, slopes)
        # What is sampled as a distance: t = a w + b e, with e standard normal.
        of = self.apart
        b2 = share[of.quantity]
        a, b = np.sqrt(1 - b2), np.sqrt(b2)
        whole = np.empty(len(parameters))
        whole[self.own] = own
        e = whole[of.at]
        total += 0.5 * float((scores**2).sum() - (e**2).sum())
        by_score = slopes[of.at] * of.scale + scores
        by_mean += np.bincount(of.mean, by_score * a, len(by_mean))
        of_share = by_score * (0.5 * e / b - 0.5 * means[of.mean] / a)
        by_share += np.bincount(of.quantity, of_share, len(by_share))
        slopes[of.at] = by_score * b - e
        by_log_sd = np.bincount(self.family_of, slopes[self.family_at], len(families))
        counts = np.bincount(self.family_of, minlength=len(families))
        by_family = self.family_priors[:, 1] * by_log_sd
        by_family = np.asarray(by_family + (counts - 1.0) * families)
        used = share[self.quantities]
        total += float(np.log(used * (1 - used)).sum())
        by_logit = by_share[self.quantities] * used * (1 - used) + 1 - 2 * used
        return total, np.concatenate([by_mean, by_logit, by_family, slopes[self.own]])

    def _dips_score(self, parameters: Floats) -> tuple[Floats, Floats]:
        """Return the log dips' standard scores, and what attribute values add to them."""
        each = self.dips
        sd = np.exp(-parameters[each.sd])
        added = np.exp(parameters[each.value_sd]) * parameters[each.value] * sd[each.of]
        effects = np.bincount(each.of, added, len(sd))
        return (parameters[each.at] - parameters[each.middle]) * sd - effects, added

    def _dips(
        self,
        parameters: Floats,
        means: Floats,
        share: Floats,
        by_mean: Floats,
        by_share: Floats,
        slopes: Floats,
    ) -> float:
        each, size = self.dips, len(slopes)
        t, added = self._dips_score(parameters)
        which = np.full(len(t), _number(n.TYPE_LOG_DIP))
        log, by_t = self._centred(t, each.mean, which, means, share, by_mean, by_share)
        sd = np.exp(-parameters[each.sd])
        slopes[each.at] += by_t * sd
        slopes -= np.bincount(each.middle, by_t * sd, size)
        slopes -= np.bincount(each.sd, by_t * t, size)
        by_value = -by_t[each.of]
        slopes += np.bincount(
            each.value, by_value * np.exp(parameters[each.value_sd]) * sd[each.of], size
        )
        slopes += np.bincount(each.value_sd, by_value * added, size)
        return log

    @staticmethod
    def _centred(
        t: Floats,
        mean: Ints,
        quantity: Ints,
        means: Floats,
        share: Floats,
        by_mean: Floats,
        by_share: Floats,
    ) -> tuple[float, Floats]:
        """Return log N(t; a w, b^2) - log N(t; 0, 1) and its slope by t; add the other slopes."""
        b2 = share[quantity]
        a, w = np.sqrt(1 - b2), means[mean]
        left = t - a * w
        by_mean += np.bincount(mean, a * left / b2, len(by_mean))
        of_share = 0.5 * (left / b2) ** 2 - 0.5 / b2 - 0.5 * left * w / (a * b2)
        by_share += np.bincount(quantity, of_share, len(by_share))
        log = 0.5 * float((t**2 - left**2 / b2 - np.log(b2)).sum())
        return log, t - left / b2


def _number(name: str) -> int:
    return next(i for i, each in enumerate(SHARED) if each.name == name)


def _labels(season: Season) -> dict[str, tuple[str | None, ...]]:
    of_dim = {
        n.TYPE: season.types,
        n.ATTRIBUTE_VALUE: design_of(season).attribute_values,
        n.INTERVENTION: season.interventions,
        n.STRESSOR: season.stressors,
    }
    return {each.name: tuple(of_dim[each.dim]) if each.dim else (None,) for each in SHARED}


def _places(code: MachineCode, end: int) -> dict[str, Ints]:
    """Return the places of an athlete's parameters among those of all, by name."""
    lengths, names = code.lengths, code.names
    starts = np.cumsum([end - sum(lengths), *lengths])
    return {
        name.removesuffix("_log__"): np.arange(a, b)
        for name, a, b in zip(names, starts, starts[1:], strict=False)
    }


def _shared(
    labels: Sequence[dict[str, tuple[str | None, ...]]], places: Sequence[dict[str, Ints]]
) -> tuple[tuple[str, str | None], ...]:
    """Return what has a mean of the group's: what is no label's, and labels of two athletes."""
    counts: dict[tuple[str, str | None], int] = {}
    for has, at in zip(labels, places, strict=True):
        for each in SHARED:
            if _SCORES.get(each.name, each.name) in at:
                for label in has[each.name]:
                    counts[each.name, label] = counts.get((each.name, label), 0) + 1
    return tuple(key for key, count in counts.items() if key[1] is None or count > 1)
