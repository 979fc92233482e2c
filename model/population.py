"""What athletes of a group have in common: means and spreads of what the model learns of each.

For every quantity of `SHARED`, on the scale on which its prior is normal,

    an athlete's own ~ Normal(mean, share * s^2)        how athletes differ
    mean             ~ Normal(m, (1 - share) * s^2)     what is not known of the group
    share            ~ Uniform(0, 1)

where Normal(m, s^2) is what the model believes of one athlete, so that the two parts add up to it:
an athlete of a group of which nothing is known, and any single athlete, is believed to be just
what `Priors` say. For session types and attribute values m is 0 and s is a parameter, as it is for
one athlete, and the group's. What only one athlete has is that athlete's: its mean is m.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.dynamics import days_to_recover, threshold_of
from slackwater.model.priors import Belief, GroupPriors, LabelBelief, Priors

Floats = NDArray[np.float64]


class Shared(NamedTuple):
    """A quantity that a group tells of.

    Attributes:
        name: the parameter in the posterior.
        prior: the field of `Priors` that says what is believed of one athlete: of the quantity
            itself, or of how much members of a family differ.
        dim: what it is indexed by; None for one number an athlete.
        log: whether it is its logarithm that is normal.
        family: whether `prior` is about the SD between members.
    """

    name: str
    prior: str
    dim: str | None = None
    log: bool = False
    family: bool = False


# A line for each quantity. What is of a season's moment, such as its start, is nobody else's.
SHARED: Final = (
    Shared(n.NOISE_SD, "noise_sd", log=True),
    Shared(n.LINGERING_ODDS, "lingering_odds", log=True),
    Shared(n.PERSISTENCE_ODDS, "persistence_odds", log=True),
    Shared(n.NOISE_TAIL, "noise_tail", log=True),
    Shared(n.DRIFT_SD, "drift_sd", log=True),
    Shared(n.SESSION_SD, "session_sd", log=True),
    Shared(n.WEEKDAY_SD, "weekday_sd", log=True),
    Shared(n.FIRST_NIGHT, "first_night", log=True),
    Shared(n.TYPE_DIP_MEAN, "type_dip"),
    Shared(n.TYPE_RATE_MEAN, "type_rate"),
    Shared(n.TYPE_LOG_DIP, "type_dip_sd", n.TYPE, family=True),
    Shared(n.TYPE_LOG_RATE, "type_rate_sd", n.TYPE, family=True),
    Shared(n.ATTRIBUTE_DIP, "attribute_dip_sd", n.ATTRIBUTE_VALUE, family=True),
    Shared(n.ATTRIBUTE_RATE, "attribute_rate_sd", n.ATTRIBUTE_VALUE, family=True),
    Shared(n.LOG_RATE_RATIO, "log_rate_ratio", n.INTERVENTION),
    Shared(n.LIFT, "lift", n.INTERVENTION),
    Shared(n.STRESSOR_LOG_DIP, "stressor_dip", n.STRESSOR),
    Shared(n.STRESSOR_LOG_RATE, "stressor_rate", n.STRESSOR),
)
BY_NAME: Final[Mapping[str, Shared]] = {each.name: each for each in SHARED}


@dataclass(frozen=True)
class Population:
    """What a group tells of its athletes, T draws; no reading, no name.

    Attributes:
        athletes: how many it was learnt from; 0 for a group of which nothing is known.
        labels: of each indexed quantity, the L labels that at least two athletes have.
        means: mean over athletes, by quantity, shape (T,), or (T, L) where it is indexed.
        spreads: SD between athletes, of any label, by quantity, shape (T,).
        families: SD between a family's members, shape (T,); their deviations add up to it.
    """

    athletes: int
    labels: Mapping[str, tuple[str, ...]]
    means: Mapping[str, Floats]
    spreads: Mapping[str, Floats]
    families: Mapping[str, Floats]

    def __post_init__(self) -> None:
        """Refuse what does not fit together.

        Raises:
            ValueError: a quantity is missing or unknown, or its draws have another shape.
        """
        draws = len(next(iter(self.spreads.values()), ()))
        for each in SHARED:
            shape = (draws,) if each.dim is None else (draws, len(self.labels.get(each.name, ())))
            given = [self.means.get(each.name), self.spreads.get(each.name)]
            shapes = [shape, (draws,)]
            if each.family:
                given.append(self.families.get(each.name))
                shapes.append((draws,))
            for values, expected in zip(given, shapes, strict=True):
                if values is None or values.shape != expected or not np.isfinite(values).all():
                    raise ValueError(f"{each.name!r} is missing, or is not the numbers it must be")
            if not all((values > 0).all() for values in given[1:] if values is not None):
                raise ValueError(f"{each.name!r} has a spread that is not above 0")
        unknown = {*self.means, *self.spreads, *self.families, *self.labels} - {*BY_NAME}
        if unknown:
            raise ValueError(f"{min(unknown)!r} is no quantity that athletes share")

    @property
    def draws(self) -> int:
        """How many draws of everything there are."""
        return len(self.spreads[n.NOISE_SD])

    @classmethod
    def unknown(cls, draws: int = 400, seed: int = 0, priors: Priors | None = None) -> Population:
        """Return the group of which nothing is known: its athletes are as any single one.

        Args:
            draws: how many.
            seed: the same seed gives the same draws.
            priors: what is believed of one athlete; the defaults if left out.
        """
        priors = priors or Priors()
        rng = np.random.default_rng(seed)
        means, spreads, families = {}, {}, {}
        for each in SHARED:
            mean, sd = prior_of(each, priors)
            scale = np.full(draws, sd)
            if each.family:
                belief = getattr(priors, each.prior)
                scale = np.exp(belief.mean + belief.sd * rng.standard_normal(draws))
                families[each.name] = scale
            share = rng.uniform(size=draws)
            spreads[each.name] = scale * np.sqrt(share)
            own = mean + scale * np.sqrt(1 - share) * rng.standard_normal(draws)
            means[each.name] = own if each.dim is None else np.empty((draws, 0))
        return cls(0, {e.name: () for e in SHARED if e.dim}, means, spreads, families)

    def priors(self, priors: Priors | None = None) -> GroupPriors:
        """Return what is to be believed of one more athlete of the group.

        Normal beliefs with the mean and the SD of this prediction. Of session types, which share
        a mean, what is known of them all together is kept apart from what is known of each.

        Args:
            priors: what is believed of what athletes do not share, and of labels that the group
                does not know; the defaults if left out.
        """
        if self.athletes == 0:
            return _as_group(priors or Priors())
        scalars: dict[str, Belief] = {}
        labels: list[LabelBelief] = []
        for each in SHARED:
            mean, spread = self.means[each.name], self.spreads[each.name]
            if each.dim is None:
                scalars[each.prior] = _moments(mean, spread)
                continue
            if each.family:
                if not self.labels[each.name]:
                    continue  # nothing was learnt of it
                log = np.log(self.families[each.name])
                scalars[each.prior] = Belief(float(log.mean()), float(log.std()))
            unit = np.exp(scalars[each.prior].mean) if each.dim == n.ATTRIBUTE_VALUE else 1.0
            for column, label in enumerate(self.labels[each.name]):
                belief = _moments(mean[:, column] / unit, spread / unit)
                labels.append(LabelBelief(each.name, label, belief))
        group = _as_group(replace(priors or Priors(), **scalars), tuple(labels))
        for name, of in ((n.TYPE_LOG_DIP, n.TYPE_DIP_MEAN), (n.TYPE_LOG_RATE, n.TYPE_RATE_MEAN)):
            group = self._apart(group, name, of)
        return group

    def _apart(self, group: GroupPriors, name: str, of: str) -> GroupPriors:
        """Share what is believed of types out to their mean and to each of them.

        The group often knows a type well, and less well how much of that is due to the type: the
        mean over types and a type's deviation from it are not believed independently. As the
        model believes them so, the mean gets what types have in common.
        """
        if not self.labels[name]:
            return group
        known = self.means[of][:, None] + self.means[name]
        within, common = np.square(self.spreads[name]).mean(), np.square(self.spreads[of]).mean()
        covariance = np.atleast_2d(np.cov(known, rowvar=False))
        apart = ~np.eye(len(covariance), dtype=bool)
        together = covariance[apart].mean() if apart.any() else covariance.mean()
        shared = common + max(0.0, float(together))
        each = np.sqrt(np.maximum(np.diag(covariance) + within + common - shared, 0.5 * within))
        sds = dict(zip(self.labels[name], each, strict=True))
        labels = tuple(
            b._replace(belief=b.belief._replace(sd=float(sds[b.label])))
            if b.quantity == name
            else b
            for b in group.labels
        )
        prior = BY_NAME[of].prior
        belief = getattr(group, prior)._replace(sd=float(np.sqrt(shared)))
        return _as_group(replace(cast(Priors, group), **{prior: belief}), labels)

    def typical(self, name: str, label: str | None = None) -> Floats:
        """Return a quantity of a typical athlete, shape (T,), on the scale on which it is normal.

        Args:
            name: of the quantity.
            label: where it is indexed; of one that the group does not know, any label's.
        """
        if label is None:
            return self.means[name]
        if label in self.labels[name]:
            return np.asarray(self.means[name][:, self.labels[name].index(label)])
        return np.full(self.draws, prior_of(BY_NAME[name], Priors())[0])

    def another(self, name: str, rng: np.random.Generator, label: str | None = None) -> Floats:
        """Return the quantity of one more athlete a draw, shape (T,), on the same scale."""
        spread = self.spreads[name]
        if label is not None and label not in self.labels[name]:
            spread = self.families.get(name, np.full(self.draws, prior_of(BY_NAME[name])[1]))
        return self.typical(name, label) + spread * rng.standard_normal(self.draws)

    def typical_days(self, label: str, values: Sequence[str] = ()) -> Floats:
        """Return a typical athlete's days to recover from a type's typical session, shape (T,).

        Args:
            label: the type.
            values: the attribute values that it has, such as "effort: hard".
        """
        return self._days(self.typical, label, values)

    def days_of_another(
        self, label: str, rng: np.random.Generator, values: Sequence[str] = ()
    ) -> Floats:
        """Return the same of one more athlete a draw, shape (T,)."""
        return self._days(lambda name, at=None: self.another(name, rng, at), label, values)

    def spread_of_days(
        self, label: str, rng: np.random.Generator, values: Sequence[str] = (), athletes: int = 100
    ) -> Floats:
        """Return the SD of such days between athletes, shape (T,), from so many made a draw."""
        made = [self.days_of_another(label, rng, values) for _ in range(athletes)]
        return np.asarray(np.std(made, axis=0))

    def _days(self, quantity: Any, label: str, values: Sequence[str]) -> Floats:
        log_dip = quantity(n.TYPE_DIP_MEAN) + quantity(n.TYPE_LOG_DIP, label)
        log_rate = quantity(n.TYPE_RATE_MEAN) + quantity(n.TYPE_LOG_RATE, label)
        for value in values:
            log_dip = log_dip + quantity(n.ATTRIBUTE_DIP, value)
            log_rate = log_rate + quantity(n.ATTRIBUTE_RATE, value)
        decays = np.exp(log_dip - quantity(n.FIRST_NIGHT))
        threshold = threshold_of(np.exp(quantity(n.NOISE_SD)))
        days: Floats = days_to_recover(decays, threshold, np.exp(log_rate))
        return days


def own_share(own: Floats, of_another: Floats) -> float:
    """Return how much of what the group leaves open an athlete's own readings settle, 0 to 1.

    One minus the ratio of variances: 0 where they have added nothing, near 1 where they have all
    but settled it. Where the group alone is sure, nothing is left to add.

    Args:
        own: draws of the athlete's, own readings and the group taken together; of a time, its log.
        of_another: draws of one more athlete's, of whom nothing is known yet.
    """
    before = of_another.var()
    return float(np.clip(1 - own.var() / before, 0.0, 1.0)) if before > 0 else 0.0


def prior_of(shared: Shared, priors: Priors | None = None) -> Belief:
    """Return what is believed of one athlete's quantity; a family's members differ by its median.

    Args:
        shared: the quantity.
        priors: the defaults if left out.
    """
    belief: Belief = getattr(priors or Priors(), shared.prior)
    return Belief(0.0, float(np.exp(belief.mean))) if shared.family else belief


def _as_group(priors: Priors, labels: tuple[LabelBelief, ...] = ()) -> GroupPriors:
    beliefs = {field.name: getattr(priors, field.name) for field in fields(Priors)}
    return GroupPriors(**beliefs, labels=labels)


def _moments(mean: Floats, spread: Floats) -> Belief:
    return Belief(float(mean.mean()), float(np.sqrt(mean.var() + np.square(spread).mean())))
