"""The forecaster that knows all but the baseline and the luck to come.

It knows every parameter, every dip, what sensor, weekday and drop add, and the very law of the
noise, with its tails, its memory and its bad nights. What it must learn is the baseline and the
noise that lingers: a particle filter in which each particle draws a night's noise variance and
bad night, given which the rest is a Kalman filter (Rao-Blackwellised; Doucet, de Freitas, Murphy
& Russell 2000, arXiv:1301.3853).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tests.studies.generator import Made

PARTICLES = 500
DRAWS = 4  # of the future, from each particle


class _State(NamedTuple):
    """Baseline and lingering noise of P particles: means (P, 2) and covariances (P, 2, 2)."""

    mean: np.ndarray
    covariance: np.ndarray


class Oracle:
    """Forecasts of one made season from any of its nights."""

    def __init__(self, made: Made, seed: int = 0) -> None:
        """Filter the season once.

        Args:
            made: the season and its truth.
            seed: of the particles.
        """
        self._made = made
        self._rng = np.random.default_rng([21, seed])
        self._offset = made.whole["shift"] - made.whole["dip"]
        self._kept = np.array([[1.0, 0.0], [0.0, made.law.autocorrelation]])
        read = np.zeros(made.nights, bool)
        dates = made.tables["readings"]["date"].to_numpy().astype("datetime64[D]")
        read[((dates - dates[0]) / np.timedelta64(1, "D")).astype(int)] = True
        self._states = self._filtered(read)

    def ahead(self, origin: int, horizon: int) -> np.ndarray:
        """Draw the reading, ln ms, `horizon` nights after night `origin`."""
        law, rng = self._made.law, self._rng
        mean, covariance = self._states[origin]
        state = np.repeat(mean, DRAWS, axis=0)
        root = np.linalg.cholesky(covariance + 1e-15 * np.eye(2))
        unit = rng.standard_normal((len(state), 2, 1))
        state = state + (np.repeat(root, DRAWS, axis=0) @ unit)[..., 0]
        level, lingering = state.T
        count = len(level)
        for _ in range(horizon):
            level = level + self._made.scales.drift * rng.standard_normal(count)
            fresh = np.sqrt(self._fresh(count)) * rng.standard_normal(count)
            lingering = law.autocorrelation * lingering + fresh
        out = level + lingering - law.bad(count, rng) + self._offset[origin + horizon]
        return np.asarray(out)

    def _fresh(self, count: int) -> np.ndarray:
        """Draw variances of what a night adds to the noise that lingers."""
        law = self._made.law
        return law.variances(count, self._rng) * (1 - law.autocorrelation**2)

    def _filtered(self, read: np.ndarray) -> list[_State]:
        made, rng = self._made, self._rng
        state = _State(
            np.tile([made.whole["level"][0], 0.0], (PARTICLES, 1)), np.zeros((PARTICLES, 2, 2))
        )
        out = []
        for night, is_read in enumerate(read):
            fresh = made.law.variances(PARTICLES, rng) if night == 0 else self._fresh(PARTICLES)
            mean = state.mean @ self._kept.T
            covariance = self._kept @ state.covariance @ self._kept.T
            covariance[:, 0, 0] += made.scales.drift**2 if night else 0.0
            covariance[:, 1, 1] += fresh
            if is_read:
                bad = made.law.bad(PARTICLES, rng)
                seen = made.whole["reading"][night] - self._offset[night] + bad
                state = self._updated(_State(mean, covariance), seen)
            else:
                state = _State(mean, covariance)
            out.append(state)
        return out

    def _updated(self, state: _State, seen: np.ndarray) -> _State:
        """Take in a reading: level and noise together are `seen`, for each particle."""
        across = state.covariance.sum(axis=2)
        variance = across.sum(axis=1)
        error = seen - state.mean.sum(axis=1)
        log_weight = -0.5 * (np.log(variance) + error**2 / variance)
        gain = across / variance[:, None]
        mean = state.mean + gain * error[:, None]
        covariance = state.covariance - gain[:, :, None] * across[:, None, :]
        weight = np.exp(log_weight - log_weight.max())
        edges = np.cumsum(weight / weight.sum())
        places = (self._rng.random() + np.arange(PARTICLES)) / PARTICLES
        chosen = np.minimum(np.searchsorted(edges, places), PARTICLES - 1)
        return _State(mean[chosen], covariance[chosen])
