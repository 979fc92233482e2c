"""What an athlete's readings alone say, as one normal factor of a group's posterior.

An athlete's draws are those of a posterior under a prior that is known. Divided by that prior they
tell the readings' part, and that as a normal density (a site): exact where the readings say much,
and where they say nothing. So sites are taken from draws in expectation propagation over data that
lie apart (Vehtari et al. 2020, Journal of Machine Learning Research 21(17):1-53).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.alone import Alone
from slackwater.model import names as n
from slackwater.model.population import BY_NAME, SHARED, prior_of
from slackwater.model.priors import Priors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OWN: Final = -1  # a label that no other athlete has
ABSENT: Final = -2
_FARTHEST: Final = 2.0  # a site's middle from the prior's, in SDs of where that expects it
_NODES: Final = 9  # of the integral over how much members of a family differ
# Types' log dips and log rates: their mean, their own part, and that of their attributes.
_TYPES: Final = {
    n.TYPE_LOG_DIP: (n.TYPE_DIP_MEAN, n.ATTRIBUTE_DIP),
    n.TYPE_LOG_RATE: (n.TYPE_RATE_MEAN, n.ATTRIBUTE_RATE),
}
FAMILIES: Final = tuple(each.name for each in SHARED if each.family)


class Site(NamedTuple):
    """A normal factor exp(pull @ x - x @ precision @ x / 2).

    Attributes:
        precision: shape (M, M), never negative.
        pull: shape (M,).
    """

    precision: Floats
    pull: Floats


@dataclass(frozen=True)
class Layout:
    """Where the quantities of A athletes stand: D places, the same for all, quantity by quantity.

    Attributes:
        shared: what has a mean of the group's: quantity and label, Q of them.
        starts: first place of each quantity of `SHARED`, and D.
        index: which shared mean a place of an athlete has; `OWN` or `ABSENT` else, shape (A, D).
        maps: what turns an athlete's places into the columns of its draws, (M, D) each.
    """

    shared: tuple[tuple[str, str | None], ...]
    starts: Ints
    index: Ints
    maps: tuple[Floats, ...]

    @property
    def quantity(self) -> Ints:
        """Which quantity of `SHARED` each place is about, shape (D,)."""
        return np.repeat(np.arange(len(SHARED)), np.diff(self.starts))

    @classmethod
    def of(cls, athletes: Sequence[Alone]) -> Layout:
        """Return the layout of a squad."""
        seen: dict[tuple[str, str | None], int] = {}
        widths = [0] * len(SHARED)
        each = [_has(alone) for alone in athletes]
        for has in each:
            for number, labels in enumerate(has):
                widths[number] = max(widths[number], len(labels))
                for label in labels:
                    key = SHARED[number].name, label
                    seen[key] = seen.get(key, 0) + 1
        shared = tuple(key for key, count in seen.items() if key[1] is None or count > 1)
        where = {key: i for i, key in enumerate(shared)}
        starts = np.concatenate([[0], np.cumsum(widths)])
        index = np.full((len(athletes), starts[-1]), ABSENT)
        for row, has in zip(index, each, strict=True):
            for start, of, labels in zip(starts, SHARED, has, strict=False):
                for place, label in enumerate(labels):
                    row[start + place] = where.get((of.name, label), OWN)
        return cls(shared, starts, index, tuple(_map(alone, starts) for alone in athletes))


def _has(alone: Alone) -> list[tuple[str | None, ...]]:
    """Return the labels of each quantity that an athlete has, (None,) for an unlabelled one."""
    columns = {name for name, _ in alone.columns}
    columns |= {mean for of, (mean, _) in _TYPES.items() if of in columns}
    return [
        alone.labels[each.name] if each.dim else (None,) if each.name in columns else ()
        for each in SHARED
    ]


def _map(alone: Alone, starts: Ints) -> Floats:
    places = {each.name: int(start) for each, start in zip(SHARED, starts, strict=False)}
    out = np.zeros((len(alone.columns), starts[-1]))
    for row, (name, label) in zip(out, alone.columns, strict=True):
        at = alone.labels[name].index(label) if label is not None else 0
        row[places[name] + at] = 1.0
        if name in _TYPES:
            mean, attribute = _TYPES[name]
            row[places[mean]] = 1.0
            first = places[attribute]
            row[first : first + alone.type_has_value.shape[1]] = alone.type_has_value[at]
    return out


class Normals(NamedTuple):
    """A mixture of normals, J of them.

    Attributes:
        log_weights: shape (J,).
        means: shape (J, M).
        covariances: shape (J, M, M).
    """

    log_weights: Floats
    means: Floats
    covariances: Floats

    def log_density(self, x: Floats) -> Floats:
        """Return the log density of points (S, M) under each of the normals, shape (S, J)."""
        centre = self.means.mean(axis=0)
        x, means = x - centre, self.means - centre
        roots = np.linalg.cholesky(self.covariances)
        half = np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1)
        precision = np.linalg.inv(self.covariances)
        pulled = np.einsum("jmk,jk->jm", precision, means)
        size = x.shape[1]
        square = (
            np.einsum("sm,sk->smk", x, x).reshape(len(x), -1)
            @ precision.reshape(len(precision), -1).T
        )
        square += -2 * x @ pulled.T + (pulled * means).sum(axis=1)
        return np.asarray(-0.5 * (square + size * np.log(2 * np.pi)) - half)

    def log_mixture(self, x: Floats) -> Floats:
        """Return the log density of points under the mixture, shape (S,)."""
        return np.asarray(np.logaddexp.reduce(self.log_density(x) + self.log_weights, axis=1))

    def moments(self) -> tuple[Floats, Floats]:
        """Return the mixture's mean and covariance."""
        weights = np.exp(self.log_weights)
        mean = weights @ self.means
        apart = self.means - mean
        within = np.einsum("j,jmk->mk", weights, self.covariances)
        return mean, within + (weights[:, None] * apart).T @ apart


def prior_of_draws(alone: Alone, layout: Layout, athlete: int) -> Normals:
    """Return the prior under which an athlete's draws were drawn, of their columns.

    How much members of a family differ is a parameter of the athlete's own then, and integrated
    out.

    Args:
        alone: the athlete.
        layout: of its squad.
        athlete: its place in it.
    """
    free = [name for name in FAMILIES if _unknown(alone, name)]
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES if len(free) < 3 else 5)
    logs = np.log(weights / weights.sum())
    to_columns = layout.maps[athlete]
    log_weights, means, covariances = [], [], []
    for chosen in product(range(len(nodes)), repeat=len(free)):
        scales = {
            name: float(np.exp(_scale(alone.priors, name, nodes[i])))
            for name, i in zip(free, chosen, strict=True)
        }
        mean, variance = _places(alone, layout, scales)
        log_weights.append(sum(logs[i] for i in chosen))
        means.append(to_columns @ mean)
        covariances.append((to_columns * variance) @ to_columns.T)
    return Normals(np.array(log_weights, float), np.array(means), np.array(covariances))


def _unknown(alone: Alone, name: str) -> bool:
    """Say whether an athlete has members of a family whose SD was a parameter."""
    attribute = BY_NAME[name].dim == n.ATTRIBUTE_VALUE
    return any(attribute or not alone.priors.of(name, label) for label in alone.labels[name])


def _scale(priors: Priors, name: str, node: float) -> float:
    belief = getattr(priors, BY_NAME[name].prior)
    return float(belief.mean + belief.sd * node)


def _places(alone: Alone, layout: Layout, scales: dict[str, float]) -> tuple[Floats, Floats]:
    """Return mean and variance of each place under the prior, given how members differ."""
    mean, variance = np.zeros(layout.starts[-1]), np.ones(layout.starts[-1])
    for each, start, labels in zip(SHARED, layout.starts, _has(alone), strict=False):
        usual = prior_of(each, alone.priors)
        for place, label in enumerate(labels):
            belief = alone.priors.of(each.name, label) if label is not None else None
            unit = scales.get(each.name, 1.0) if each.family else 1.0
            centre, sd = belief or ((0.0, 1.0) if each.family else usual)
            if belief and each.dim == n.TYPE:
                unit = 1.0
            mean[start + place] = unit * centre
            variance[start + place] = (unit * sd) ** 2
    return mean, variance


def site_of(alone: Alone, prior: Normals) -> Site:
    """Return what an athlete's readings say, as a normal factor.

    Args:
        alone: the athlete.
        prior: the one that the draws were drawn under.
    """
    mean, covariance = prior.moments()
    root = np.linalg.cholesky(covariance)
    z = np.linalg.solve(root, (alone.values - mean).T)
    count, size = len(alone.values), len(mean)
    spread = np.cov(z) * (count - 1) / max(count - size - 2, 1)  # so that its inverse is unbiased
    kept, axes = np.linalg.eigh(np.atleast_2d(spread))
    kept = np.clip(kept, 1e-6, 1.0)
    towards = axes.T @ z.mean(axis=1)
    # Where readings narrow nothing and yet move the middle, their density flattens out somewhere:
    # as a normal one it must not lie further out than chance would have it, or a group would follow
    # it there. A middle moved by t SDs of the prior is that of readings that tell t^2 / 4 or so.
    share = np.minimum((towards / _FARTHEST) ** 2, 0.5)
    told = np.maximum(1 / kept - 1, share / (1 - share))
    precision = (axes * told) @ axes.T
    pull = axes @ (towards * (1 + told))
    inverse = np.linalg.inv(root)
    back = inverse.T @ precision @ inverse
    return Site(back, inverse.T @ pull + back @ mean)
