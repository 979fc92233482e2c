"""What lies under the readings beside the dips: what stays, what passes, what is unexplained.

    level[n]       = baseline[n] + transient[n] + unexplained[n]
    baseline[n]    = baseline[n-1] + Normal(0, drift_variance + new_level[n])
    transient[n]   = persistence * transient[n-1] + Normal(0, (1 - persistence^2) * its variance)
    unexplained[n] = carried[n] * unexplained[n-1] + Normal(0, jump[n])
    reading[n]     = level[n] - dips + shift + noise[n]

Given everything else the three are a linear-Gaussian state, which a Kalman filter integrates out
(Durbin & Koopman 2012, Time Series Analysis by State Space Methods, chapter 4). Shapes: S draws,
N nights, K states (3, or 2 where nothing is unexplained), in the order of the names below.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BASELINE: Final = 0
TRANSIENT: Final = 1
UNEXPLAINED: Final = 2
STATES: Final = ("baseline", "transient", "unexplained")


class Steps(NamedTuple):
    """What is known of the step into each night, N of them.

    Attributes:
        new_level: variance that an announced new level adds to baseline's step, shape (N,), ln².
        carried: how much of the unexplained of the night before is still there, shape (N,);
            0 where nothing is unexplained.
        jump: variance of what the unexplained moves by, shape (N,), ln².
    """

    new_level: Floats
    carried: Floats
    jump: Floats

    @property
    def unexplained(self) -> bool:
        """Whether anything is, on any of the nights."""
        return bool(self.jump.any() or self.carried.any())


class Motion(NamedTuple):
    """How the states move, S draws.

    Attributes:
        drift_variance: of baseline per night, shape (S,), ln².
        transient_variance: of the transient on any night, shape (S,), ln².
        persistence: what is left of a transient after a night, shape (S,).
    """

    drift_variance: Floats
    transient_variance: Floats
    persistence: Floats


class State(NamedTuple):
    """The states of one night: a normal distribution for each draw.

    Attributes:
        mean: shape (K, S).
        covariance: shape (K, K, S).
    """

    mean: Floats
    covariance: Floats

    def level(self) -> tuple[Floats, Floats]:
        """Return mean and variance of the states' sum, shape (S,) both."""
        return self.mean.sum(axis=0), self.covariance.sum(axis=(0, 1))

    def given(self, error: Floats, variance: Floats) -> tuple[State, Floats]:
        """Return the state after a reading, and the gain, shape (K, S).

        Args:
            error: reading minus what was expected of it, shape (S,).
            variance: of that error, shape (S,).
        """
        towards = self.covariance.sum(axis=1)
        gain = towards / variance
        return State(self.mean + gain * error, self.covariance - gain[:, None] * towards), gain

    def after(self, motion: Motion, steps: Steps, night: int) -> State:
        """Return the state on the next night, before its reading.

        Args:
            motion: how the states move.
            steps: of the nights.
            night: the index of the next one.
        """
        kept, moved = _step(motion, steps, night, len(self.mean))
        covariance = self.covariance * kept[:, None] * kept
        for i, variance in enumerate(moved):
            covariance[i, i] += variance
        return State(self.mean * kept, covariance)

    def with_unexplained(self) -> State:
        """Return the same with room for the unexplained, of which there is nothing yet."""
        if len(self.mean) > UNEXPLAINED:
            return self
        mean, covariance = np.zeros((3, self.mean.shape[1])), np.zeros((3, 3, self.mean.shape[1]))
        mean[:UNEXPLAINED], covariance[:UNEXPLAINED, :UNEXPLAINED] = self
        return State(mean, covariance)

    def of(self, rows: NDArray[np.int64]) -> State:
        """Return the state of some of the draws."""
        return State(self.mean[:, rows], self.covariance[:, :, rows])

    def at(self, state: int, value: Floats) -> State:
        """Return the others given that one state is known, shape (K - 1, S) and so on.

        Args:
            state: which one.
            value: what it is, shape (S,).
        """
        others = [i for i in range(len(self.mean)) if i != state]
        variance = self.covariance[state, state]
        towards = self.covariance[others, state]
        with np.errstate(invalid="ignore", divide="ignore"):
            gain = np.where(variance > 0, towards / variance, 0.0)
        mean = self.mean[others] + gain * (value - self.mean[state])
        covariance = self.covariance[np.ix_(others, others)] - gain[:, None] * towards
        return State(mean, covariance)


class Filtered(NamedTuple):
    """What the filter says of each night.

    Attributes:
        expected: level before the night's reading, shape (S, N), ln ms.
        variance: its variance, shape (S, N).
        log_density: log density of each reading given those before it, shape (S, N);
            0 where the night was not read.
        gain: how far each state follows a reading's error, shape (N, K, S); 0 where not read.
        last: the state on the last night.
    """

    expected: Floats
    variance: Floats
    log_density: Floats
    gain: Floats
    last: State


def by_night(draws: int, nights: int) -> Floats:
    """Return zeros, shape (S, N), that lie in memory night after night, as the recursions go."""
    return np.zeros((nights, draws)).T


def start_state(mean: Floats, variance: Floats, motion: Motion, steps: Steps) -> State:
    """Return what is believed of the first night's states before its reading.

    Args:
        mean: of the baseline, shape (S,), ln ms.
        variance: its variance, shape (S,).
        motion: how the states move.
        steps: of the nights; where nothing is unexplained, there is no such state.
    """
    states = 3 if steps.unexplained else 2
    means = np.zeros((states, len(mean)))
    covariance = np.zeros((states, states, len(mean)))
    means[BASELINE] = mean
    covariance[BASELINE, BASELINE] = variance
    covariance[TRANSIENT, TRANSIENT] = motion.transient_variance
    return State(means, covariance)


def filter_levels(
    level_readings: Floats, noise_variance: Floats, motion: Motion, steps: Steps, start: State
) -> Filtered:
    """Run the filter over readings from which dips and shifts are removed.

    Args:
        level_readings: reading plus dip minus shift, shape (S, N), NaN where not read.
        noise_variance: shape (S, N).
        motion: how the states move.
        steps: of the N nights; that into the first is not taken.
        start: the states on the first night, before its reading.
    """
    draws, nights = level_readings.shape
    expected, variance, log_density = (by_night(draws, nights) for _ in range(3))
    gain = np.zeros((nights, len(start.mean), draws))
    state = start
    for night in range(nights):
        if night:
            state = state.after(motion, steps, night)
        expected[:, night], variance[:, night] = state.level()
        y = level_readings[:, night]
        if not np.isnan(y[0]):
            f = variance[:, night] + noise_variance[:, night]
            v = y - expected[:, night]
            log_density[:, night] = -0.5 * (np.log(2 * np.pi * f) + v * v / f)
            state, gain[night] = state.given(v, f)
    return Filtered(expected, variance, log_density, gain, state)


def sample_levels(
    filtered: Filtered,
    level_readings: Floats,
    noise_variance: Floats,
    motion: Motion,
    steps: Steps,
    start: State,
    rng: np.random.Generator,
) -> Floats:
    """Draw one whole path of each state for each draw given all readings, shape (K, S, N).

    The simulation smoother of Durbin & Koopman 2002 (Biometrika 89:603-616): a path drawn
    without regard to the readings is moved by what smoothing makes of the difference.

    Args:
        filtered: the result of `filter_levels` on what follows.
        level_readings: as there.
        noise_variance: as there.
        motion: as there.
        steps: as there.
        start: as there; its states are independent.
        rng: source of randomness.
    """
    draws, nights = level_readings.shape
    states = len(start.mean)
    free = free_path(motion, steps, start, nights, rng)
    read = np.flatnonzero(~np.isnan(level_readings[0]))
    noise = np.zeros((nights, draws))
    noise[read] = np.sqrt(noise_variance.T[read]) * rng.standard_normal((len(read), draws))
    scaled = np.zeros((nights, draws))  # errors of the difference over their variance
    mean = np.zeros((states, draws))
    for night in range(nights):
        if night:
            mean = mean * _step(motion, steps, night, states)[0]
        if not np.isnan(level_readings[0, night]):
            difference = level_readings[:, night] - free[:, :, night].sum(axis=0) - noise[night]
            error = difference - mean.sum(axis=0)
            scaled[night] = error / (filtered.variance[:, night] + noise_variance[:, night])
            mean = mean + filtered.gain[night] * error
    pull = np.zeros((nights, states, draws))
    later = np.zeros((states, draws))
    for night in range(nights - 1, -1, -1):
        later = later + scaled[night] - (filtered.gain[night] * later).sum(axis=0)
        pull[night] = later
        if night:
            later = later * _step(motion, steps, night, states)[0]
    moved = np.einsum("ijs,js->is", start.covariance, pull[0])
    path = free
    path[:, :, 0] += moved
    for night in range(1, nights):
        kept, variance = _step(motion, steps, night, states)
        moved = kept * moved + variance * pull[night]
        path[:, :, night] += moved
    return path


def _step(motion: Motion, steps: Steps, night: int, states: int) -> tuple[Floats, Floats]:
    """Return what of each state is kept, and the variance it gains, shape (K, S) both."""
    shape = (states, len(motion.persistence))
    kept, gained = np.ones(shape), np.empty(shape)
    kept[TRANSIENT] = motion.persistence
    gained[BASELINE] = motion.drift_variance + steps.new_level[night]
    gained[TRANSIENT] = motion.transient_variance * (1 - motion.persistence**2)
    if states > UNEXPLAINED:
        kept[UNEXPLAINED] = steps.carried[night]
        gained[UNEXPLAINED] = steps.jump[night]
    return kept, gained


def free_path(
    motion: Motion, steps: Steps, start: State, nights: int, rng: np.random.Generator
) -> Floats:
    """Draw paths without regard to readings, shape (K, S, N)."""
    states, draws = start.mean.shape
    path = np.empty((nights, states, draws))
    spread = np.sqrt(np.diagonal(start.covariance).T)
    path[0] = start.mean + spread * rng.standard_normal((states, draws))
    for night in range(1, nights):
        kept, variance = _step(motion, steps, night, states)
        step = np.sqrt(variance) * rng.standard_normal((states, draws))
        path[night] = kept * path[night - 1] + step
    return path.transpose(1, 2, 0)
