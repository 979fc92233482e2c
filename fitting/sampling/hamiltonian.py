"""Draws from a smooth log density by few, well-aimed steps: Hamiltonian paths scaled by curvature.

How far a step may go in which direction is read off the curvature where draws lie, instead of
being learnt over hundreds of draws: a few core parameters by their whole matrix and by what ties
them to the many others, and each of these by its own. A path then forgets where it began within a
handful of steps. Paths are accepted or not as in every Hamiltonian
sampler (Neal 2011, Handbook of Markov Chain Monte Carlo, chapter 5), so what is drawn is the
density itself, however far from normal it is. Several chains go side by side; where they
disagree, there were too few draws.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.optimize import minimize

Floats = NDArray[np.float64]
Densities = Callable[[Floats], tuple[Floats, Floats]]
Density = Callable[[Floats], tuple[float, Floats]]

CHAINS: Final = 8
WARM: Final = (8, 6, 6)  # paths: until curvature is read, until no chain is stuck, until it draws
ACCEPTED: Final = 0.8  # of paths, that is aimed at
# A quarter of a period (1.57) forgets a normal's start. A little more makes each draw fall on the
# other side of the middle than the one before, so that means are exact sooner.
_LENGTH: Final = 2.2
STUCK: Final = 0.2  # of its paths that a chain has accepted, on average
_SPREAD: Final = 0.3  # of the chains' starts, in standard deviations of the core parameters
_FIRST: Final = (0.12, 0.8, 10)  # step, length and most steps of a path, while far from draws
_STEP: Final = 0.3
_NEAR: Final = 1e-4  # for differences of the gradient
_READ: Final = 4  # chains that curvature is read at
_LOST: Final = 1000.0  # of energy, as samplers of this kind have it
_LEAST: Final = 0.05  # curvature of a direction; below, priors would have to be flatter than ours


class Drawn(NamedTuple):
    """Points drawn, and how it went.

    Attributes:
        points: all so far, shape (chains, draws, length).
        accepted: the share of paths, of the chain that moved least.
    """

    points: Floats
    accepted: float


def draw(
    densities: Densities, start: Floats, core: NDArray[np.bool_], seed: int, draws: int
) -> Iterator[Drawn]:
    """Draw from a density, and more of it for as long as more is asked for.

    Args:
        densities: returns the log density and its gradient at points, shape (points, length);
            minus infinity where there is none.
        start: where the search for the core parameters begins, shape (length,), the others
            at their middle.
        core: which parameters are core, shape (length,).
        seed: the same seed gives the same draws.
        draws: how many more of each chain every time.

    Yields:
        All that was drawn so far.
    """
    rng = np.random.default_rng(seed)
    cores = int(core.sum())
    order = np.argsort(~core, kind="stable")  # the core first: slices are quicker than masks
    back = np.argsort(order)

    def ordered(points: Floats) -> tuple[Floats, Floats]:
        logs, slopes = densities(points[:, back])
        return logs, slopes[:, order]

    def density(point: Floats) -> tuple[float, Floats]:
        logs, slopes = ordered(point[None])
        return float(logs[0]), slopes[0]

    mode = _core_mode(density, start[order], cores)
    scale = Scale.of(curvature(ordered, mode, cores), np.ones(len(start) - cores))
    points = rng.standard_normal((CHAINS, len(start)))
    points[:, :cores] = mode[:cores] + _SPREAD * scale.core_spread(points[:, :cores])
    chains = Chains(ordered, points, rng)
    chains.step, length, most = _FIRST
    for _ in range(WARM[0]):
        chains.go(scale, length, adapting=1.0, most=most)
    likeliest = chains.points[np.argsort(chains.logs)[-_READ:]]
    rows = np.mean([curvature(ordered, point, cores) for point in likeliest], axis=0)
    others = np.mean([own_curvature(ordered, point, cores, rng) for point in chains.points], axis=0)
    scale, chains.step = Scale.of(rows, np.maximum(others, 1.0)), _STEP
    for _ in range(WARM[1]):
        chains.go(scale, _LENGTH, adapting=0.8)
    chains.free()
    for _ in range(WARM[2]):
        chains.go(scale, _LENGTH, adapting=0.5)
    kept: list[Floats] = []
    while True:
        for _ in range(draws):
            chains.go(scale, _LENGTH)
            kept.append(chains.points[:, back])
        accepted = float(chains.accepted(len(kept)).min())
        yield Drawn(np.array(kept).swapaxes(0, 1), accepted)


@dataclass(frozen=True)
class Scale:
    """A precision matrix P shaped like an arrow: all others are tied to the core alone.

    The core comes first.

    Attributes:
        ties: between core and others, shape (cores, others), over the roots of the others' own.
        others: roots of the others' own precision, shape (others,).
        root: the lower Cholesky factor of what is left of the core's precision given these ties.
        covariance: the inverse of what is left of it.
    """

    ties: Floats
    others: Floats
    root: Floats
    covariance: Floats

    @classmethod
    def of(cls, rows: Floats, others: Floats) -> Scale:
        """Return the scale of a curvature, made positive where it is not.

        Args:
            rows: the core's rows of the negative Hessian, shape (cores, length).
            others: the others' own precision, shape (others,).
        """
        roots, cores = np.sqrt(others), len(rows)
        own, ties = rows[:, :cores], rows[:, cores:] / roots
        own = 0.5 * (own + own.T)
        for _ in range(12):
            left = own - ties @ ties.T
            if np.linalg.eigvalsh(left)[0] > _LEAST:
                break
            values, vectors = np.linalg.eigh(own)
            own = (vectors * np.maximum(values, 6 * _LEAST)) @ vectors.T
            ties = 0.7 * ties
        else:
            left, ties = own, 0.0 * ties
        root = cholesky(left, lower=True)
        return cls(ties, roots, root, cho_solve((root, True), np.eye(cores)))

    def narrowed(self, precision: Floats) -> Scale:
        """Return the scale where a factor of so much precision more is known of the core."""
        root = cholesky(self.root @ self.root.T + precision, lower=True, check_finite=False)
        inverse = cho_solve((root, True), np.eye(len(root)), check_finite=False)
        return replace(self, root=root, covariance=inverse)

    def momentum(self, normal: Floats) -> Floats:
        """Return draws of Normal(0, P) from standard normal ones, shape (chains, length)."""
        core, others = np.split(normal, [len(self.root)], axis=1)
        return np.hstack([core @ self.root.T + others @ self.ties.T, others * self.others])

    def velocity(self, momentum: Floats) -> Floats:
        """Return P^-1 times each momentum."""
        cores = len(self.root)
        others = momentum[:, cores:] / self.others
        out = np.empty_like(momentum)
        core = (momentum[:, :cores] - others @ self.ties.T) @ self.covariance
        out[:, :cores] = core
        out[:, cores:] = (others - core @ self.ties) / self.others
        return out

    def core_spread(self, normal: Floats) -> Floats:
        """Return draws of the core about its middle from standard normal ones."""
        return np.asarray(solve_triangular(self.root.T, normal.T, lower=False).T)


class Chains:
    """Chains side by side."""

    def __init__(self, densities: Densities, points: Floats, rng: np.random.Generator) -> None:
        """Begin at points, shape (chains, length), of a density as `draw` takes it."""
        self.densities, self.rng = densities, rng
        self.step = _STEP
        self.lost = 0  # paths whose energy was off by more than any that is followed well
        self._chances: list[Floats] = []
        self.put(points)

    def put(self, points: Floats) -> None:
        """Go on from other points, or from these under a density that has changed."""
        self.points = points
        self.logs, self.slopes = self.densities(points)

    def go(self, scale: Scale, length: float, adapting: float = 0.0, most: float = np.inf) -> None:
        """Follow one path from each chain's point.

        Args:
            scale: of the momentum.
            length: of the path, about.
            adapting: how far the step follows what was accepted.
            most: steps, which may cut it short.
        """
        momentum = scale.momentum(self.rng.standard_normal(self.points.shape))
        step = self.step * self.rng.uniform(0.85, 1.15)
        steps = int(min(most, max(1, round(length * self.rng.uniform(0.6, 1.4) / step))))
        before = self.logs - _kinetic(scale, momentum)
        points, slopes = self.points, self.slopes
        with np.errstate(invalid="ignore", over="ignore"):  # of paths that are lost
            for _ in range(steps):
                momentum = momentum + 0.5 * step * slopes
                points = points + step * scale.velocity(momentum)
                logs, slopes = self.densities(points)
                momentum = momentum + 0.5 * step * slopes
            gained = np.minimum(0.0, logs - _kinetic(scale, momentum) - before)
        chance = np.exp(np.where(np.isnan(gained), -np.inf, gained))
        self.lost += int((~(gained > -_LOST)).sum())
        moves = self.rng.random(len(chance)) < chance
        self.points = np.where(moves[:, None], points, self.points)
        self.slopes = np.where(moves[:, None], slopes, self.slopes)
        self.logs = np.where(moves, logs, self.logs)
        self._chances.append(chance)
        self.step *= float(np.exp(adapting * (chance.mean() - ACCEPTED)))

    def accepted(self, latest: int) -> Floats:
        """Return the share of each chain's latest paths that was accepted, on average."""
        return np.asarray(np.mean(self._chances[-latest:], axis=0))

    def free(self) -> None:
        """Let chains that hardly moved of late start again where others are."""
        stuck = self.accepted(WARM[1]) < STUCK
        if not stuck.any() or stuck.all():
            return
        new = np.where(
            stuck, self.rng.choice(np.flatnonzero(~stuck), len(stuck)), np.arange(len(stuck))
        )
        self.points, self.slopes, self.logs = self.points[new], self.slopes[new], self.logs[new]


def _kinetic(scale: Scale, momentum: Floats) -> Floats:
    return 0.5 * np.asarray((momentum * scale.velocity(momentum)).sum(axis=1))


def _core_mode(density: Density, start: Floats, cores: int) -> Floats:
    """Return the start with its core moved to where the density is highest given the others."""
    point = start.copy()

    def loss(values: Floats) -> tuple[float, Floats]:
        point[:cores] = values
        log, slopes = density(point)
        return (-log, -slopes[:cores]) if np.isfinite(log) else (1e10, np.zeros(cores))

    found = minimize(loss, start[:cores], jac=True, method="L-BFGS-B", options={"maxiter": 80})
    point[:cores] = found.x
    return point


def curvature(densities: Densities, point: Floats, cores: int) -> Floats:
    """Return the core's rows of the negative Hessian, shape (cores, length)."""
    moved = np.tile(point, (1 + cores, 1))
    moved[np.arange(cores) + 1, np.arange(cores)] += _NEAR
    slopes = densities(moved)[1]
    return np.asarray((slopes[0] - slopes[1:]) / _NEAR)


def own_curvature(
    densities: Densities, point: Floats, cores: int, rng: np.random.Generator
) -> Floats:
    """Return about the diagonal of the others' negative Hessian, from one step in all of them.

    Hutchinson's estimate with random signs, exact where the others are not tied to each other.
    """
    signs = rng.choice([-1.0, 1.0], len(point))
    signs[:cores] = 0.0
    slopes = densities(np.array([point, point + _NEAR * signs]))[1]
    return np.asarray(((slopes[0] - slopes[1]) / _NEAR * signs)[cores:])
