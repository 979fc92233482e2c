"""Stretches of nights that neither the log nor noise explains, and a watch that finds them.

An illness or a journey that nobody logged holds the readings down at once and for longer than a
night's noise. A baseline that drifts would follow it, so it is watched for apart
from the fit: every night may have been the first of such a stretch, and for each of them a filter
of its own (a bank of filters: Willsky & Jones 1976, IEEE Trans. Automatic Control 21:108-112; from
memory) says how much better it foretells the readings since than the filter for which nothing has
happened. Their sum is the statistic of Shiryaev and Roberts: where nothing happens its expected
growth is 1 a night, so that a false alarm comes after `RARELY` nights or more on average (Pollak
1985, Annals of Statistics 13:206-227; from memory). Single nights count for little, whatever they
read, since errors are bounded as by Huber (1964, Annals of Mathematical Statistics 35:73-101).
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
        drift_variance: of baseline per night, ln².
        transient_variance: ln².
        persistence: of a transient.
    """

    levels: Floats
    noise_variance: float
    drift_variance: float
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


class Watch(NamedTuple):
    """A watch as far as it has come.

    Attributes:
        nights: how many it has seen.
        believed: the state after the last of them.
        open_since: the first night of the stretch that is not over, by index; None for none.
        over: the stretches that are over, first night and last.
        rivals: the filters for which something happened.
    """

    nights: int
    believed: State
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
    motion = Motion(
        np.array([watched.drift_variance]),
        np.array([watched.transient_variance]),
        np.array([watched.persistence]),
    )
    begun = so_far or Watch(0, _start(watched, priors), None, (), _Rivals.none())
    seen, believed, open_since, over, rivals = begun
    found = [*over]
    read = np.isfinite(watched.levels)
    for night in range(seen, len(read)):
        y = watched.levels[night]
        if night:
            inside = open_since is not None
            believed = believed.after(motion, _one_step(new_level[night], inside), 0)
            rivals = rivals.after(motion, new_level[night], begun=not inside)
        if not night or not read[night]:
            if read[night]:
                believed, _ = _seen(believed, y, watched.noise_variance)
            continue
        rivals = rivals.joined(night, believed, priors, begins=open_since is None)
        believed, usual = _seen(believed, y, watched.noise_variance)
        rivals = rivals.seen(y, watched.noise_variance, usual)
        best = int(np.argmax(rivals.log_odds))
        first = int(rivals.first[best])
        if open_since is None:
            if rivals.total() > RARELY and read[first : night + 1].sum() >= FEWEST:
                open_since, believed, rivals = (
                    first,
                    rivals.state.of(np.array([best])),
                    _Rivals.none(),
                )
        elif believed.mean[UNEXPLAINED, 0] > 0:  # whatever it was, it holds nothing down
            found.append((open_since, night))
            open_since, believed, rivals = None, _explained(believed), _Rivals.none()
        elif rivals.total() > OVER:
            found.append((open_since, max(first - 1, open_since)))
            open_since, believed, rivals = None, rivals.state.of(np.array([best])), _Rivals.none()
    return Watch(len(read), believed, open_since, tuple(found), rivals)


class _Rivals(NamedTuple):
    """Filters for which something happened, each on a night of its own; C of them.

    Attributes:
        first: index of that night, shape (C,).
        state: of each filter, after the last night.
        log_odds: how much better it foretold the readings since, shape (C,).
        downwards: whether only what lies lower counts, as it does for beginnings: what lifts
            readings is baseline's drift, or another sensor.
    """

    first: NDArray[np.int64]
    state: State
    log_odds: Floats
    downwards: bool

    @classmethod
    def none(cls) -> _Rivals:
        state = State(np.zeros((3, 0)), np.zeros((3, 3, 0)))
        return cls(np.zeros(0, int), state, np.zeros(0), True)

    def after(self, motion: Motion, new_level: float, *, begun: bool) -> _Rivals:
        """Step into the next night; what has begun is carried on, what has ended is not."""
        return self._replace(state=self.state.after(motion, _one_step(new_level, begun), 0))

    def joined(self, night: int, believed: State, priors: Priors, *, begins: bool) -> _Rivals:
        """Add the filter for which it happens on this night."""
        mean, covariance = _explained(believed)
        if begins:
            covariance[UNEXPLAINED, UNEXPLAINED] = priors.unexplained.sd**2
        kept = np.flatnonzero((self.log_odds > _HOPELESS) & (self.first > night - _LONGEST))
        state = self.state.of(kept)
        return _Rivals(
            np.append(self.first[kept], night),
            State(
                np.concatenate([state.mean, mean], axis=1),
                np.concatenate([state.covariance, covariance], axis=2),
            ),
            np.append(self.log_odds[kept], 0.0),
            begins,
        )

    def seen(self, y: float, noise: float, usual: Floats) -> _Rivals:
        """Take a reading in, against the density that the usual filter gave it."""
        state, density = _seen(self.state, y, noise)
        return self._replace(state=state, log_odds=self.log_odds + density - usual)

    def total(self) -> float:
        """Return the sum of the odds, with what the direction adds to them."""
        odds = np.exp(np.minimum(self.log_odds, 500.0))
        if self.downwards:
            z = self.state.mean[UNEXPLAINED] / np.sqrt(
                self.state.covariance[UNEXPLAINED, UNEXPLAINED]
            )
            below = 1 / (1 + np.exp(np.clip(1.702 * z, -50, 50)))  # a normal's share, to 0.01
            odds = odds * 2 * below
        return float(odds.sum())


def _start(watched: Watched, priors: Priors) -> State:
    covariance = np.zeros((3, 3, 1))
    covariance[BASELINE, BASELINE] = priors.baseline.sd**2
    covariance[TRANSIENT, TRANSIENT] = watched.transient_variance
    return State(np.array([[priors.baseline.mean], [0.0], [0.0]]), covariance)


def _explained(believed: State) -> State:
    """Return the state with nothing unexplained."""
    mean, covariance = believed.mean.copy(), believed.covariance.copy()
    mean[UNEXPLAINED] = covariance[UNEXPLAINED] = covariance[:, UNEXPLAINED] = 0.0
    return State(mean, covariance)


def _one_step(new_level: float, carried: bool) -> Steps:
    kept = float(carried)
    return Steps(np.array([new_level]), np.array([kept]), np.array([kept * WALK_SD**2]))


def _seen(state: State, y: float, noise: float) -> tuple[State, Floats]:
    """Take a reading in, its error bounded; return its log density beside the state."""
    mean, variance = state.level()
    variance = variance + noise
    sd = np.sqrt(variance)
    z = np.clip((y - mean) / sd, -_BEYOND, _BEYOND)
    bounded = np.clip(z, -_BOUND, _BOUND)
    state, _ = state.given(bounded * sd, variance)
    return state, -np.log(sd) - bounded * (z - bounded / 2)
