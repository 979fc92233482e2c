"""The group's means and spreads, given what each athlete's readings say: a Gibbs sampler.

Given the spreads everything is normal, so the means are drawn with the athletes integrated out,
then the athletes given the means. Spreads are drawn twice a sweep, once given the athletes and
once given their standard scores (Yu & Meng 2011, Journal of Computational and Graphical Statistics
20:531-570), which mixes both where readings say much and where they say little. A sweep takes time
in proportion to the athletes.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.sites import ABSENT, OWN, Layout
from slackwater.fitting.pooling.slices import draw_one, draw_share
from slackwater.model.population import SHARED, prior_of
from slackwater.model.priors import Priors

Floats = NDArray[np.float64]


class Drawn(NamedTuple):
    """Draws of what a group has in common, T of them; G quantities, Q shared means.

    Attributes:
        means: of what is shared, shape (T, Q).
        shares: of what is believed of one athlete's variance, what is between athletes, (T, G).
        scales: the SD of what is believed of one athlete, shape (T, G).
    """

    means: Floats
    shares: Floats
    scales: Floats


def draw_together(
    layout: Layout,
    precision: Floats,
    pull: Floats,
    priors: Priors,
    rng: np.random.Generator,
    sweeps: tuple[int, int, int],
) -> Drawn:
    """Draw what a group has in common.

    Args:
        layout: of the squad.
        precision: of each athlete's site, by place, shape (A, D, D).
        pull: of each, shape (A, D).
        priors: what is believed of one athlete.
        rng: source of randomness.
        sweeps: before the first draw, draws, and sweeps for each of them.
    """
    gibbs = _Gibbs(layout, precision, pull, priors, rng)
    before, draws, each = sweeps
    for _ in range(before):
        gibbs.sweep()
    kept = []
    for _ in range(draws):
        for _ in range(each):
            gibbs.sweep()
        kept.append((gibbs.means, gibbs.share.copy(), gibbs.scale.copy()))
    return Drawn(*(np.array(values) for values in zip(*kept, strict=True)))


class _Gibbs:
    def __init__(
        self,
        layout: Layout,
        precision: Floats,
        pull: Floats,
        priors: Priors,
        rng: np.random.Generator,
    ) -> None:
        self.layout, self.precision, self.pull, self.rng = layout, precision, pull, rng
        index = layout.index
        self.own, self.absent, self.common = index == OWN, index == ABSENT, index >= 0
        self.quantity = layout.quantity
        self.slots = [slice(a, b) for a, b in zip(layout.starts, layout.starts[1:], strict=False)]
        beliefs = [prior_of(each, priors) for each in SHARED]
        self.families = [getattr(priors, e.prior) if e.family else None for e in SHARED]
        self.centre = np.array([belief.mean for belief in beliefs])
        self.scale = np.array([belief.sd for belief in beliefs])
        self.share = np.full(len(SHARED), 0.5)
        names = [each.name for each in SHARED]
        self.of_mean = np.array([names.index(name) for name, _ in layout.shared], int)
        # Places of what is not shared point behind the last mean, to be cut off.
        self.to = np.where(self.common, index, len(layout.shared))
        size = len(layout.shared) + 1
        self.pairs = (self.to[:, :, None] * size + self.to[:, None, :]).ravel()
        self.means = self.centre[self.of_mean]
        self.athletes = np.zeros(index.shape)

    def sweep(self) -> None:
        """Draw everything once."""
        self._means_and_athletes()
        left = self.pull - np.einsum("aij,aj->ai", self.precision, self.athletes)
        for number, slots in enumerate(self.slots):
            if slots.start < slots.stop:
                self._spread(number, slots, left)

    def _variances(self) -> Floats:
        scale = np.square(self.scale)[self.quantity]
        between = scale * self.share[self.quantity]
        return np.where(self.absent, 1.0, np.where(self.own, scale, between))

    def _means_and_athletes(self) -> None:
        tight = 1.0 / self._variances()
        posterior = self.precision.copy()
        diagonal = np.arange(tight.shape[1])
        posterior[:, diagonal, diagonal] += tight
        covariance = np.linalg.inv(posterior)
        root = np.linalg.cholesky(covariance)
        centred = np.where(self.own, tight * self.centre[self.quantity], 0.0)
        pulled = self.pull + centred
        size = len(self.means) + 1
        from_athletes = -tight[:, :, None] * covariance * tight[:, None, :]
        from_athletes[:, diagonal, diagonal] += tight
        information = np.bincount(self.pairs, from_athletes.ravel(), size**2)
        information = information.reshape(size, size)[:-1, :-1]
        towards = tight * np.einsum("aij,aj->ai", covariance, pulled)
        towards = np.bincount(self.to.ravel(), towards.ravel(), size)[:-1]
        prior = 1.0 / ((1.0 - self.share) * np.square(self.scale))[self.of_mean]
        information[np.diag_indices(size - 1)] += prior
        towards = towards + prior * self.centre[self.of_mean]
        normal = self.rng.standard_normal(size - 1)
        lower = np.linalg.cholesky(information)
        self.means = np.linalg.solve(information, towards) + np.linalg.solve(lower.T, normal)
        around = np.append(self.means, 0.0)[self.to]
        pulled = pulled + np.where(self.common, tight * around, 0.0)
        normals = self.rng.standard_normal(pulled.shape)
        self.athletes = np.einsum("aij,aj->ai", covariance, pulled)
        self.athletes += np.einsum("aij,aj->ai", root, normals)

    def _spread(self, number: int, slots: slice, left: Floats) -> None:
        """Draw how much of a quantity's variance is between athletes, and a family's SD."""
        common, own = self.common[:, slots], self.own[:, slots]
        around = np.append(self.means, 0.0)[self.to[:, slots]]
        apart = np.where(common, self.athletes[:, slots] - around, 0.0)
        alone = np.where(own, self.athletes[:, slots] - self.centre[number], 0.0)
        of_means = self.means[self.of_mean == number] - self.centre[number]
        counts = int(common.sum()), len(of_means), int(own.sum())
        squares = float((apart**2).sum()), float((of_means**2).sum()), float((alone**2).sum())
        belief = self.families[number]
        share, scale = float(self.share[number]), float(self.scale[number])

        def athletes_given(share: float, scale: float) -> float:
            between = share * scale**2
            return -0.5 * (counts[0] * log(between) + squares[0] / between) - (
                0.5 * (counts[2] * log(scale**2) + squares[2] / scale**2)
            )

        def means_given(share: float, scale: float) -> float:
            unknown = (1 - share) * scale**2
            prior = 0.0 if belief is None else -0.5 * ((log(scale) - belief.mean) / belief.sd) ** 2
            return -0.5 * (counts[1] * log(unknown) + squares[1] / unknown) + prior

        def density(share: float, scale: float) -> float:
            return athletes_given(share, scale) + means_given(share, scale)

        share = draw_share(lambda s: density(s, scale), share, self.rng)
        if belief is not None:
            scale = exp(draw_one(lambda x: density(share, exp(x)), log(scale), self.rng))
        # Once more given standard scores: athletes move along as the spread does.
        towards, curvature = self._along(slots, apart, left)

        def scored(share: float) -> float:
            moved = sqrt(share) * scale / now - 1.0
            return means_given(share, scale) + towards * moved - 0.5 * curvature * moved**2

        now = sqrt(share) * scale
        new = draw_share(scored, share, self.rng)
        self._move(slots, (sqrt(new / share) - 1.0) * apart, left)
        share = new
        if belief is not None:
            both = np.where(common, self.athletes[:, slots] - around, alone)
            towards, curvature = self._along(slots, both, left)
            start = log(scale)

            def together(x: float) -> float:
                moved = exp(x - start) - 1.0
                return means_given(share, exp(x)) + towards * moved - 0.5 * curvature * moved**2

            end = draw_one(together, start, self.rng)
            self._move(slots, (exp(end - start) - 1.0) * both, left)
            scale = exp(end)
        self.share[number], self.scale[number] = share, scale

    def _along(self, slots: slice, way: Floats, left: Floats) -> tuple[float, float]:
        """Return slope and curvature of what readings say, on the way from where athletes are."""
        bent = np.matmul(self.precision[:, slots, slots], way[:, :, None])[:, :, 0]
        return float((way * left[:, slots]).sum()), float((way * bent).sum())

    def _move(self, slots: slice, by: Floats, left: Floats) -> None:
        self.athletes[:, slots] += by
        left -= np.einsum("aij,aj->ai", self.precision[:, :, slots], by)
