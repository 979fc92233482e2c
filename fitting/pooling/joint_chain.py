"""A chain of draws of athletes and their group, given all readings.

Athletes are independent of each other given their group, and given the athletes the group is drawn
without a reading. So a sweep has three steps, none of which has to find its way in all parameters
at once:

1. each athlete given the group, by a Hamiltonian path over the athlete's own parameters;
2. the group given the athletes: shares and SDs by slices, with the means integrated out, then the
   means;
3. the group once more, with athletes who move along as far as they are not known: by a Hamiltonian
   path, with all readings; and SDs of what an athlete has many of, given these.

The second step is quick where readings say much of each athlete, the third where they say little
(Yu & Meng 2011, Journal of Computational and Graphical Statistics 20:531-570).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_along import Along
from slackwater.fitting.pooling.joint_between import Between
from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.joint_scales import Scales
from slackwater.fitting.sampling.hamiltonian import Chains, Scale, curvature, own_curvature

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LENGTH: Final = 2.2  # of a path, in SDs, as for one athlete
_READ: Final = 8  # sweeps from one reading of curvature to the next, while warming up
_KEPT: Final = 16  # readings of curvature that a scale is made from
_ALONE: Final = 8  # of them, of an athlete who is alone, to begin with


class ChainDrawn(NamedTuple):
    """Draws of one chain, T of them.

    Attributes:
        groups: each part with T draws first.
        parameters: of all athletes, shape (T, length).
        divergences: paths that were lost after the warm-up.
    """

    groups: Group
    parameters: Floats
    divergences: int


class JointChain:
    """Where a chain is, and how it goes on."""

    def __init__(self, joint: JointDensity, alone: Floats, core: NDArray[np.bool_], seed: int):
        """Begin where each athlete may be, alone.

        Args:
            joint: athletes and their group.
            alone: a few draws of all athletes' parameters, each of one who is alone; the last is
                where the chain begins.
            core: which of them are core, as `hamiltonian` has it; the others are many.
            seed: the same seed gives the same draws.
        """
        self.joint, self.rng = joint, np.random.default_rng(seed)
        self.parameters = alone[-1].copy()
        self.between, self.scales = Between(joint, self.rng), Scales(joint, self.rng)
        self.group = self.between.begin(self.parameters)
        some = alone[np.linspace(0, len(alone) - 1, _ALONE).astype(int)]
        self.athletes = [_Athlete(self, place, core, some) for place in range(joint.athletes)]
        self.moving = _Group(self, np.array([joint.rows.scores(each) for each in alone]))
        self.steps: list[_Athlete | _Group] = [*self.athletes, self.moving]

    def draw(self, tune: int, draws: int) -> ChainDrawn:
        """Return draws after so many sweeps of warm-up."""
        for sweep in range(tune):
            if sweep % _READ == 0 and sweep < 0.8 * tune:
                self._read()
            self._sweep(adapting=max(0.02, (1 + sweep) ** -0.5))
        before = sum(each.chain.lost for each in self.steps)
        groups, parameters = [], []
        for _ in range(draws):
            self._sweep()
            groups.append(self.group)
            parameters.append(self.parameters.copy())
        kept = Group(*(np.array(part) for part in zip(*groups, strict=True)))
        lost = sum(each.chain.lost for each in self.steps) - before
        return ChainDrawn(kept, np.array(parameters), lost)

    def _sweep(self, adapting: float = 0.0) -> None:
        for athlete in self.athletes:
            athlete.go(adapting)
        self.group = self.between.draw(self.group, self.parameters)
        self.moving.go(adapting)
        self.scales.draw(self.group, self.parameters)

    def _read(self) -> None:
        for each in self.steps:
            each.read()


class _Curvature:
    """The curvature of a density where a chain has been of late."""

    def __init__(self) -> None:
        self._kept: list[tuple[Floats, Floats]] = []

    def with_this(self, rows: Floats, others: Floats) -> Scale:
        """Return the scale of what was read of late, and of this."""
        self._kept = [*self._kept[1 - _KEPT :], (rows, others)]
        every, of_others = (np.mean(each, axis=0) for each in zip(*self._kept, strict=True))
        return Scale.of(every, np.maximum(of_others, 1.0))


class _Athlete:
    """One athlete's own parameters, given the group."""

    def __init__(
        self, whole: JointChain, place: int, core: NDArray[np.bool_], alone: Floats
    ) -> None:
        self.whole, self.place = whole, place
        joint = whole.joint
        self.own = joint.own(place)
        free = np.setdiff1d(np.arange(self.own.start, self.own.stop), joint.family_at)
        is_core = core[free]
        self.free = np.concatenate([free[is_core], free[~is_core]])
        self.at = self.free - self.own.start
        self.cores = int(is_core.sum())
        self.curvature = _Curvature()
        for each in alone[:, self.free]:
            self.read(each)
        self._believe()
        self.chain = Chains(self._densities, whole.parameters[None, self.free], whole.rng)

    def _believe(self) -> None:
        whole = self.whole
        at = self.at[: self.cores]
        self.believed = whole.joint.believed(self.place, whole.group, whole.parameters, at)

    def _alone(self, points: Floats) -> tuple[Floats, Floats]:
        """Return the athlete's own log density at points of the free parameters, and slopes."""
        density = self.whole.joint.densities[self.place]
        own = self.whole.parameters[self.own].copy()
        logs, slopes = np.empty(len(points)), np.empty(points.shape)
        for row, point in enumerate(points):
            own[self.at] = point
            logs[row], every = density(own)
            slopes[row] = every[self.at]
        return logs, slopes

    def _densities(self, points: Floats) -> tuple[Floats, Floats]:
        logs, slopes = self._alone(points)
        more, by_core = self.believed.densities(points[:, : self.cores])
        slopes[:, : self.cores] += by_core
        return logs + more, slopes

    def read(self, point: Floats | None = None) -> None:
        """Read the curvature at a point of the free parameters, or where the athlete is."""
        point = self.whole.parameters[self.free] if point is None else point
        rng = self.whole.rng
        self.scale = self.curvature.with_this(
            curvature(self._alone, point, self.cores),
            own_curvature(self._alone, point, self.cores, rng),
        )

    def go(self, adapting: float) -> None:
        """Follow a path."""
        self._believe()
        scale = self.scale.narrowed(self.believed.precision)
        self.chain.put(self.whole.parameters[None, self.free])
        self.chain.go(scale, _LENGTH, adapting=adapting)
        self.whole.parameters[self.free] = self.chain.points[0]


class _Group:
    """The group, with athletes who move along."""

    def __init__(self, whole: JointChain, scores: Floats) -> None:
        self.whole = whole
        self.along = Along(whole.joint, scores)
        self.curvature = _Curvature()
        self._keep()
        point = self.along.point(whole.group)
        self.chain = Chains(self._densities, point[None], whole.rng)

    def _keep(self) -> None:
        self.kept = self.along.kept(self.whole.group, self.whole.parameters)

    def _densities(self, points: Floats) -> tuple[Floats, Floats]:
        parameters = self.whole.parameters
        found = [self.along.density(point, self.kept, parameters) for point in points]
        return np.array([log for log, _ in found]), np.array([slopes for _, slopes in found])

    def read(self) -> None:
        """Read the curvature where the group is."""
        self._keep()
        point = self.along.point(self.whole.group)
        rows = curvature(self._densities, point, len(point))
        self.scale = self.curvature.with_this(rows, np.empty(0))

    def go(self, adapting: float) -> None:
        """Follow a path."""
        whole = self.whole
        self._keep()
        self.chain.put(self.along.point(whole.group)[None])
        self.chain.go(self.scale, _LENGTH, adapting=adapting)
        whole.group, whole.parameters = self.along.placed(
            self.chain.points[0], whole.group, self.kept, whole.parameters
        )
