"""Stretches of nights that neither the log nor noise explains, and a watch that finds them.

An illness or a journey that nobody logged holds the readings down at once and for longer than a
night's noise. A baseline that drifts would follow it, so it is watched for apart from the fit:
every night may have been the first of such a stretch, and for each of them filters of its own (a
bank of filters: Willsky & Jones 1976, IEEE Trans. Automatic Control 21:108-112; from memory) say
how much better they foretell the readings since than those for which nothing has happened. How
fast baseline drifts is learnt on the way, by filters for a few drifts each: who drifts fast must
not be told of it as of something sudden. The sum of the odds is the statistic of Shiryaev and
Roberts: where nothing happens its expected growth is 1 a night, so that a false alarm comes after
`RARELY` nights or more on average (Pollak 1985, Annals of Statistics 13:206-227; from memory).
Single nights count for little, whatever they read, since errors are bounded as by Huber (1964,
Annals of Mathematical Statistics 35:73-101).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.model.levels import (
    BASELINE,
    TRANSIENT,
    UNEXPLAINED,
    Floats,
    Motion,
    State,
    Steps,
)
from slackwater.model.priors import Priors
from slackwater.model.season import Season

RARELY: Final = 500.0  # nights between false alarms, where the model holds
OVER: Final = 20.0  # odds for having passed at which a stretch is closed
FEWEST: Final = 3  # nights read before a stretch is believed
WALK_SD: Final = 0.03  # of the unexplained, within its stretch, ln a night
_LONGEST: Final = 60  # nights back that a stretch may have begun unnoticed
_BOUND: Final = 2.5  # standard deviations, beyond which an error counts linearly
_BEYOND: Final = 4.0  # and beyond which it counts no more
_HOPELESS: Final = -5.0  # log of the odds at which a beginning is no longer followed
# The drifts that are thought of, in standard deviations of the prior's logarithm; normal weights.
_DRIFTS: Final = np.linspace(-1.5, 1.5, 5)
_WEIGHTS: Final = np.exp(-0.5 * _DRIFTS**2) / np.exp(-0.5 * _DRIFTS**2).sum()


class Stretch(NamedTuple):
    """Nights on which something unexplained moves the level.

    Attributes:
        first: its first morning.
        last: its last one; None where it is not over.
    """

    first: np.datetime64
    last: np.datetime64 | None


class Watched(NamedTuple):
    """What is watched, and what is ordinary.

    Attributes:
        levels: readings without dips and what the sensor adds, ln ms, shape (N,); NaN: not read.
        noise_variance: of a night, what lingers left out, ln².
        transient_variance: ln².
        persistence: of a transient.
    """

    levels: Floats
    noise_variance: float
    transient_variance: float
    persistence: float


def steps_of(season: Season, priors: Priors, stretches: Sequence[Stretch]) -> Steps:
    """Return what is known of the level's steps into each night of a season.

    Args:
        season: its announced new levels count; nights as on its axis.
        priors: how large steps are.
        stretches: those unexplained, in order.
    """
    nights = season.nights
    new_level, carried, jump = np.zeros((3, len(nights)))
    announced = season.level_nights()
    on_axis = announced[(announced > 0) & (announced < len(nights))]
    new_level[on_axis] = priors.new_level.sd**2
    for stretch in stretches:
        inside = nights >= stretch.first
        if stretch.last is not None:
            inside &= nights <= stretch.last
        carried[inside & (nights > stretch.first)] = 1.0
        jump[inside] = WALK_SD**2
        jump[nights == stretch.first] = priors.unexplained.sd**2
    return Steps(new_level, carried, jump)


class Filters(NamedTuple):
    """Filters for D drifts of baseline, C times over.

    Attributes:
        state: of each, after the last night; of C * D filters.
        log_weight: of each, shape (C, D).
    """

    state: State
    log_weight: Floats

    def after(self, motion: Motion, steps: Steps) -> Filters:
        """Step into the next night; `motion` is that of D filters."""
        tiled = Motion(*(np.tile(of_drifts, len(self.log_weight)) for of_drifts in motion))
        return self._replace(state=self.state.after(tiled, steps, 0))

    def seen(self, y: float, noise: float) -> Filters:
        """Take a reading in, its error bounded; add to each weight its log density."""
        mean, variance = self.state.level()
        variance = variance + noise
        sd = np.sqrt(variance)
        z = np.clip((y - mean) / sd, -_BEYOND, _BEYOND)
        bounded = np.clip(z, -_BOUND, _BOUND)
        state, _ = self.state.given(bounded * sd, variance)
        density = -np.log(sd) - bounded * (z - bounded / 2)
        return Filters(state, self.log_weight + density.reshape(self.log_weight.shape))

    def of(self, rows: NDArray[np.int64]) -> Filters:
        """Return some of the C."""
        drifts = self.log_weight.shape[1]
        each = (rows[:, None] * drifts + np.arange(drifts)).ravel()
        return Filters(self.state.of(each), self.log_weight[rows])

    def total(self) -> Floats:
        """Return the log of the weights' sum over drifts, shape (C,)."""
        return np.asarray(np.logaddexp.reduce(self.log_weight, axis=1))

    def balanced(self) -> Filters:
        """Return them with weights that sum to 1."""
        return self._replace(log_weight=self.log_weight - self.total()[:, None])

    def explained(self) -> Filters:
        """Return them with nothing unexplained."""
        mean, covariance = self.state.mean.copy(), self.state.covariance.copy()
        mean[UNEXPLAINED] = covariance[UNEXPLAINED] = covariance[:, UNEXPLAINED] = 0.0
        return self._replace(state=State(mean, covariance))

    def unexplained(self) -> float:
        """Return how far the unexplained moves the level, ln; where C is 1."""
        return float(np.exp(self.log_weight[0]) @ self.state.mean[UNEXPLAINED])


class Watch(NamedTuple):
    """A watch as far as it has come.

    Attributes:
        nights: how many it has seen.
        believed: the filters for what is believed, after the last of them.
        open_since: the first night of the stretch that is not over, by index; None for none.
        over: the stretches that are over, first night and last.
        rivals: the filters for which something happened.
    """

    nights: int
    believed: Filters
    open_since: int | None
    over: tuple[tuple[int, int], ...]
    rivals: _Rivals

    @property
    def stretches(self) -> list[tuple[int, int | None]]:
        """The stretches found, in order; the last of one that is not over is None."""
        now = [] if self.open_since is None else [(self.open_since, None)]
        return [*self.over, *now]


def stretches_in(
    season: Season, watched: Watched, priors: Priors, so_far: Watch | None = None
) -> tuple[Stretch, ...]:
    """Return the unexplained stretches of a season, see `watch`.

    Args:
        season: what its readings can show.
        watched: its nights.
        priors: how large steps are.
        so_far: the watch of its first nights.
    """
    nights = season.nights
    found = watch(watched, steps_of(season, priors, ()).new_level, priors, so_far).stretches
    return tuple(
        Stretch(nights[first], None if last is None else nights[last]) for first, last in found
    )


def watch(
    watched: Watched, new_level: Floats, priors: Priors, so_far: Watch | None = None
) -> Watch:
    """Watch for stretches of nights that are not ordinary.

    Each night is judged from the nights up to it, so that a watch can go on where it ended.

    Args:
        watched: the nights.
        new_level: variance of announced new levels, shape (N,), as in `Steps`.
        priors: baseline on the first night, and how large the unexplained is.
        so_far: the watch of the first of these nights; from the first one on if left out.
    """
    motion = _motion(watched, priors)
    begun = so_far or Watch(0, _start(watched, priors), None, (), _Rivals.none())
    seen, believed, open_since, over, rivals = begun
    found = [*over]
    read = np.isfinite(watched.levels)
    for night in range(seen, len(read)):
        y, inside = watched.levels[night], open_since is not None
        if night:
            believed = believed.after(motion, _one_step(new_level[night], inside))
            rivals = rivals.after(motion, new_level[night])
        if not night or not read[night]:
            if read[night]:
                believed = believed.seen(y, watched.noise_variance).balanced()
            continue
        rivals = rivals.joined(night, believed, priors, begins=not inside)
        believed = believed.seen(y, watched.noise_variance)
        rivals = rivals.seen(y, watched.noise_variance, believed.total()[0])
        believed = believed.balanced()
        best = int(np.argmax(rivals.filters.total()))
        first, its = int(rivals.first[best]), rivals.filters.of(np.array([best])).balanced()
        if open_since is None:
            if rivals.odds() > RARELY and read[first : night + 1].sum() >= FEWEST:
                open_since, believed, rivals = first, its, _Rivals.none()
        elif believed.unexplained() > 0:  # whatever it was, it holds nothing down
            found.append((open_since, night))
            open_since, believed, rivals = None, believed.explained(), _Rivals.none()
        elif rivals.odds() > OVER:
            found.append((open_since, max(first - 1, open_since)))
            open_since, believed, rivals = None, its, _Rivals.none()
    return Watch(len(read), believed, open_since, tuple(found), rivals)


class _Rivals(NamedTuple):
    """Filters for which something happened, each time on a night of its own; C of them.

    Attributes:
        first: index of that night, shape (C,).
        filters: of each; the weights are odds, how much better they foretold the readings since.
        begins: whether something begins, not ends. Then only what lies lower counts: what lifts
            readings is baseline's drift, or another sensor.
    """

    first: NDArray[np.int64]
    filters: Filters
    begins: bool

    @classmethod
    def none(cls) -> _Rivals:
        state = State(np.zeros((3, 0)), np.zeros((3, 3, 0)))
        return cls(np.zeros(0, int), Filters(state, np.zeros((0, len(_DRIFTS)))), True)

    def after(self, motion: Motion, new_level: float) -> _Rivals:
        """Step into the next night; what has begun is carried on, what has ended is not."""
        return self._replace(
            filters=self.filters.after(motion, _one_step(new_level, self.begins, 0.0))
        )

    def joined(self, night: int, believed: Filters, priors: Priors, *, begins: bool) -> _Rivals:
        """Add those for which it happens on this night."""
        mean, covariance = believed.explained().state
        if begins:
            covariance[UNEXPLAINED, UNEXPLAINED] = priors.unexplained.sd**2
        promising = self.filters.total() > _HOPELESS
        kept = np.flatnonzero(promising & (self.first > night - _LONGEST))
        state, log_weight = self.filters.of(kept)
        joined = State(
            np.concatenate([state.mean, mean], axis=1),
            np.concatenate([state.covariance, covariance], axis=2),
        )
        weights = np.concatenate([log_weight, believed.log_weight])
        return _Rivals(np.append(self.first[kept], night), Filters(joined, weights), begins)

    def seen(self, y: float, noise: float, usual: float) -> _Rivals:
        """Take a reading in, against the log density that nothing's having happened gave it."""
        state, log_weight = self.filters.seen(y, noise)
        return self._replace(filters=Filters(state, log_weight - usual))

    def odds(self) -> float:
        """Return the sum of the odds, with what the direction adds to them."""
        odds = np.exp(np.minimum(self.filters.log_weight.ravel(), 500.0))
        if self.begins:
            state = self.filters.state
            z = state.mean[UNEXPLAINED] / np.sqrt(state.covariance[UNEXPLAINED, UNEXPLAINED])
            below = 1 / (1 + np.exp(np.clip(1.702 * z, -50, 50)))  # a normal's share, to 0.01
            odds = odds * 2 * below
        return float(odds.sum())


def _motion(watched: Watched, priors: Priors) -> Motion:
    """Return how the states move in the filters for each drift."""
    drift = np.exp(priors.drift_sd.mean + priors.drift_sd.sd * _DRIFTS)
    alike = np.ones(len(drift))
    return Motion(drift**2, watched.transient_variance * alike, watched.persistence * alike)


def _start(watched: Watched, priors: Priors) -> Filters:
    mean, covariance = np.zeros((3, len(_DRIFTS))), np.zeros((3, 3, len(_DRIFTS)))
    mean[BASELINE] = priors.baseline.mean
    covariance[BASELINE, BASELINE] = priors.baseline.sd**2
    covariance[TRANSIENT, TRANSIENT] = watched.transient_variance
    return Filters(State(mean, covariance), np.log(_WEIGHTS)[None])


def _one_step(new_level: float, carried: bool, walk_sd: float = WALK_SD) -> Steps:
    kept = float(carried)
    return Steps(np.array([new_level]), np.array([kept]), np.array([kept * walk_sd**2]))
