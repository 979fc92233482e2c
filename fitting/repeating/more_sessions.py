"""What more sessions of a type would teach, reckoned from the posterior without a new fit.

A preposterior analysis (Raiffa & Schlaifer 1961, Applied Statistical Decision Theory; from
memory). Some posterior draws are taken for the truth in turn. For each, undisturbed
sessions of the type are simulated, one after the other: readings on the nights after each,
at its dip, rate, scatter and ordinary noise, some of which lingers, around a baseline that goes
on drifting; dip and rate go on changing where recovery may. All draws are then weighed by their
likelihood of those readings, each with the baseline as it would have followed it, and the
interval of typical days, as they are by then, is read off the weighed draws.

What this leaves out: nights are ordinary ones, what is left of a dip and of lingering noise
after these nights is gone, and what the baseline learns from a session whose own dip is
uncertain is taken in by its mean and its mean variance. `docs/calibration/repeats.md` holds it
against new fits.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.answers.intervals import shares
from slackwater.model.dynamics import Floats, days_to_recover
from slackwater.model.trend import step_weights

NIGHTS: Final = 7  # readings after a session, before the next one
SCATTER: Final = np.linspace(-4.0, 4.0, 17)  # grid over which a session's scatter is summed out


class TypeDraws(NamedTuple):
    """What is known of one type, S draws; every field of shape (S,) where none is given.

    Attributes:
        dip: the dip that decays, of the typical session, ln.
        first_night: share of it that the first night shows.
        rate: recovery rate, 1/day.
        threshold: smallest dip worth acting on, ln.
        noise_sd: of an ordinary night, what lingers included, ln.
        lingering: share of its variance that lingers into the next nights.
        persistence: what is left of that after a night.
        session_sd: session-to-session SD of log dip.
        drift_sd: baseline's random walk, ln per night.
        level_variance: baseline's variance before the first session to come.
        age: nights from the time that dip and rate are known for to the first session to come.
        dip_steps: what each half year from that time on adds to log dip, shape (S, steps); see
            `slackwater.model.trend`.
        rate_steps: the same of log rate.
    """

    dip: Floats
    first_night: Floats
    rate: Floats
    threshold: Floats
    noise_sd: Floats
    lingering: Floats
    persistence: Floats
    session_sd: Floats
    drift_sd: Floats
    level_variance: Floats
    age: Floats
    dip_steps: Floats
    rate_steps: Floats

    def later(self, nights: int) -> TypeDraws:
        """Return the draws with dip and rate as they are so many nights after the first session."""
        gone = step_weights(self.age + nights, self.dip_steps.shape[1])
        return self._replace(
            dip=self.dip * np.exp((gone * self.dip_steps).sum(axis=1)),
            rate=self.rate * np.exp((gone * self.rate_steps).sum(axis=1)),
        )

    def typical_days(self) -> Floats:
        """Return days to recover from the typical session, shape (S,)."""
        return days_to_recover(self.dip, self.threshold, self.rate)

    def evenly(self, count: int) -> NDArray[np.int64]:
        """Return which draws are `count` of them, evenly spaced in order of typical days, or all.

        In that order a few hundred draws keep the interval of all, and a few keep the
        mean of what depends on it.
        """
        size = len(self.dip)
        places = (np.arange(min(count, size)) + 0.5) * size / min(count, size)
        order = np.argsort(self.typical_days(), kind="stable")
        return np.asarray(order[places.astype(int)])

    def chosen(self, which: NDArray[np.int64]) -> TypeDraws:
        """Return some of the draws."""
        return TypeDraws(*(field[which] for field in self))

    def thinned(self, count: int) -> TypeDraws:
        """Return `count` of the draws, evenly spaced in order of typical days, or all."""
        return self.chosen(self.evenly(count))

    def course(self, nights: int) -> Floats:
        """Return what each night shows of a dip of 1, shape (S, nights)."""
        shown = np.exp(-self.rate[:, None] * np.arange(nights))
        shown[:, 0] *= self.first_night
        return np.asarray(shown)

    def noise(self, nights: int) -> Floats:
        """Return the covariance of the noise of nights in a row, shape (S, nights, nights), ln²."""
        apart = np.abs(np.subtract.outer(np.arange(nights), np.arange(nights)))
        shared = self.lingering[:, None, None] * self.persistence[:, None, None] ** apart
        shared[:, apart == 0] = 1.0
        return np.asarray(self.noise_sd[:, None, None] ** 2 * shared)


class Baseline(NamedTuple):
    """What each draw knows of the baseline, relative to where it stood at first.

    Attributes:
        mean: for T truths and S draws, shape (T, S), ln.
        variance: shape (S,).
    """

    mean: Floats
    variance: Floats


def expected_widths(
    draws: TypeDraws,
    counts: tuple[int, ...],
    pairs: int,
    level: float,
    rng: np.random.Generator,
    *,
    narrow: float | None = None,
    at_least: int = 0,
    nights: int = NIGHTS,
) -> Floats:
    """Return the expected width of the interval of typical days after more sessions.

    Args:
        draws: what is known now.
        counts: how many more sessions, ascending.
        pairs: how many draws are taken for the truth in turn, each twice: once with some
            randomness and once with its mirror image, which halves the Monte Carlo error.
        level: credible mass of the interval.
        rng: randomness of the simulated sessions.
        narrow: no need to go on once the expected width is under this, days, or so wide
            that the last of `counts` could not bring it there (a width falls at most with
            the root of the sessions).
        at_least: go on to so many sessions in any case.
        nights: readings after each session.

    Returns:
        Days, shape (counts,); NaN where it was not needed to go so far.
    """
    true = np.tile(draws.evenly(pairs), 2)
    truth = draws.chosen(true)
    shape = (len(true), len(draws.dip))
    log_weight = np.zeros(shape)
    log_weight[np.arange(len(true)), true] = -np.inf  # none of the guesses is the truth itself
    known = Baseline(np.zeros(shape), draws.level_variance)
    level_now = np.sqrt(truth.level_variance) * _mirrored(rng, (len(truth.dip), 1))[:, 0]
    widths = np.full(len(counts), np.nan)
    for done in range(1, max(counts) + 1):
        gone = (done - 1) * nights
        readings, level_now = simulated_session(truth.later(gone), level_now, rng, nights)
        log_density, known = weigh_session(draws.later(gone), known, readings)
        log_weight += log_density
        if done in counts:
            at = counts.index(done)
            days = draws.later(done * nights).typical_days()
            widths[at] = weighed_widths(days, log_weight, level).mean()
            if narrow is not None and done >= at_least:
                within_reach = widths[at] * np.sqrt(done / max(counts)) < narrow
                if widths[at] < narrow or not within_reach:
                    break
    return widths


def simulated_session(
    truth: TypeDraws, level: Floats, rng: np.random.Generator, nights: int
) -> tuple[Floats, Floats]:
    """Return readings after one session of each truth, (T, nights), and the level after.

    Args:
        truth: T of them, the second half the same as the first; it gets the first half's
            randomness with its sign changed.
        level: baseline on the night before, relative to where it stood at first, (T,), ln.
        rng: randomness.
        nights: how many.
    """
    count = len(truth.dip)
    normal = _mirrored(rng, (count, 2 * nights + 1))
    dip = truth.dip * np.exp(truth.session_sd * normal[:, 0])
    drift = truth.drift_sd[:, None] * normal[:, 1 : nights + 1]
    noise = np.einsum(
        "tij,tj->ti", np.linalg.cholesky(truth.noise(nights)), normal[:, nights + 1 :]
    )
    path = level[:, None] + np.cumsum(drift, axis=1)
    return path - dip[:, None] * truth.course(nights) + noise, path[:, -1]


def weigh_session(draws: TypeDraws, known: Baseline, readings: Floats) -> tuple[Floats, Baseline]:
    """Return each draw's log density of one session's readings, (T, S), and its baseline.

    Given the session's dip a, the readings are normal around baseline less a times the
    course of a dip, with the baseline's error and drift common to them; a is summed out
    over its scatter on a grid. A constant is left out.

    Args:
        draws: S of them.
        known: what they know of the baseline on the night before.
        readings: relative to where the baseline stood at first, shape (T, nights).
    """
    nights = readings.shape[1]
    course = draws.course(nights)
    drifted = draws.drift_sd[:, None] ** 2 * np.arange(1, nights + 1)
    with_last = known.variance[:, None] + drifted  # covariance of readings with the last level
    covariance = np.minimum(with_last[:, :, None], with_last[:, None, :])
    covariance += draws.noise(nights)
    precision = np.linalg.inv(covariance)
    of_level, of_course = precision.sum(axis=2), np.einsum("sij,sj->si", precision, course)
    level_course = of_level * course
    # A quadratic in a: square + 2 a cross + a^2 own.
    own = (of_course * course).sum(axis=1)
    cross = readings @ of_course.T - known.mean * level_course.sum(axis=1)
    pairs = (readings[:, :, None] * readings[:, None, :]).reshape(len(readings), -1)
    square = pairs @ precision.reshape(len(precision), -1).T
    square += known.mean * (known.mean * of_level.sum(axis=1) - 2 * readings @ of_level.T)
    log_mean, dip, dip_variance = _over_scatter(draws, cross, own)
    log_density = log_mean - 0.5 * (square + np.linalg.slogdet(covariance)[1])
    gain = np.einsum("sij,sj->si", precision, with_last)
    by_dip = (gain * course).sum(axis=1)
    mean = known.mean * (1 - gain.sum(axis=1)) + readings @ gain.T + dip * by_dip
    variance = with_last[:, -1] - (gain * with_last).sum(axis=1)
    return log_density, Baseline(mean, variance + dip_variance.mean(axis=0) * by_dip**2)


def _over_scatter(draws: TypeDraws, cross: Floats, own: Floats) -> tuple[Floats, Floats, Floats]:
    """Return log E[exp(-a cross - a^2 own / 2)] over a session's dip a, up to a constant.

    And the mean and variance of a, weighed by that. Single precision takes a third of the
    time, and the sum of 64 such logs is still good to 0.01.

    Args:
        draws: S of them; a is log-normal around each one's dip.
        cross: shape (T, S).
        own: shape (S,).
    """
    dips = (draws.dip * np.exp(draws.session_sd * SCATTER[:, None])).astype(np.float32)
    cross, half_own = cross.astype(np.float32), (0.5 * own).astype(np.float32)
    powers = np.empty((len(SCATTER), *cross.shape), np.float32)
    for power, a, z in zip(powers, dips, SCATTER, strict=True):
        np.multiply(cross, -a, out=power)
        power -= (a * a * half_own + 0.5 * z * z).astype(np.float32)
    top = powers.max(axis=0)
    powers -= top
    weight = np.exp(powers, out=powers)
    total = weight.sum(axis=0)
    mean = np.einsum("zts,zs->ts", weight, dips) / total
    square = np.einsum("zts,zs->ts", weight, dips**2) / total
    variance = np.maximum(square - mean**2, 0)
    return np.asarray(top + np.log(total), float), mean.astype(float), variance.astype(float)


def interval_width(draws: TypeDraws, level: float) -> float:
    """Return the width now, reckoned as after more sessions, days."""
    evenly = np.zeros((1, len(draws.dip)))
    return float(weighed_widths(draws.typical_days(), evenly, level)[0])


def weighed_widths(days: Floats, log_weight: Floats, level: float) -> Floats:
    """Return the width of the equal-tailed interval of weighed draws, shape (T,).

    Args:
        days: the draws, shape (S,).
        log_weight: one set of weights a row, shape (T, S), any constant added to a row.
        level: credible mass.
    """
    order = np.argsort(days)
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))[:, order]
    weight /= weight.sum(axis=1, keepdims=True)
    middles = np.cumsum(weight, axis=1) - 0.5 * weight
    low, _, high = shares(level)
    return np.array([np.diff(np.interp([low, high], row, days[order]))[0] for row in middles])


def _mirrored(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Return standard normal numbers, the second half of the rows the first's, negated."""
    half = rng.standard_normal((shape[0] // 2, shape[1]))
    return np.concatenate([half, -half])
