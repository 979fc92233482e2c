"""The model made linear about one point, so that the density of nights held out is exact.

Shares no code with `slackwater.model`. Dips, rates and the scatter of sessions keep their priors;
the noise, its lingering and the drift are as learnt.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logsumexp
from scipy.stats import norm

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.model.priors import Belief
from slackwater.model.season import Season

Floats = NDArray[np.float64]
STEP: Final = 182  # nights of a step of recovery's change
SPREAD: Final = 0.6  # of types about their mean, SD of log dip and of log rate beforehand
SIZES: Final = norm.ppf((np.arange(6) + 0.5) / 6)  # of a term, prior SDs from its median
HEIGHT: Final = Belief(float(np.log(0.02)), 0.7)  # of a wave along a cycle


class Linear(NamedTuple):
    """One season, linear in all that is not known.

    Attributes:
        reading: ln ms, shape (N,); NaN where not read.
        mean: what is expected of it, shape (N,).
        covariance: shape (N, N).
        known: how many nights are not held out.
        dip_trend, rate_trend: what a step of 1 in all log dips or rates does to each night,
            steps back from the last known night, shape (N, steps).
        priors: of the SD of these steps.
    """

    reading: Floats
    mean: Floats
    covariance: Floats
    known: int
    dip_trend: Floats
    rate_trend: Floats
    priors: tuple[Belief, Belief]


def linearised(season: Season, posterior: Posterior) -> Linear:
    """Return a season as the model has it near what was learnt of its first part.

    Args:
        season: all of it.
        posterior: of the part that is not held out.
    """
    at = posterior.draws.mean("sample")
    nights, known = len(season.nights), int((posterior.last_night - season.first_night).astype(int))
    known += 1
    types = [str(t) for t in at["type"].values]
    labels = [types.index(str(t)) for t in season.data["session_type"].values]
    day = np.arange(nights)
    ages = np.maximum(0, known - 1 - day)
    steps = max(1, -(-(known - 1) // STEP))
    weights = np.clip(ages[:, None] / STEP - np.arange(steps), 0.0, 1.0)
    passed = np.cumsum(weights, axis=0)
    log_dip, log_rate = at["type_log_dip"].values, at["type_log_rate"].values
    rate, first = np.exp(log_rate), float(at["first_night"])
    mean, session_sd = np.zeros(nights), float(at["session_sd"])
    by_dip, by_rate = np.zeros((nights, len(types))), np.zeros((nights, len(types)))
    dip_trend, rate_trend = np.zeros((nights, steps)), np.zeros((nights, steps))
    scatter = []
    for k, dose, felt in zip(
        labels, season.data["dose"].values, season.session_nights(), strict=True
    ):
        if not 0 <= felt < nights:
            continue
        since = np.maximum(0, day - felt)
        course = np.where(day < felt, 0.0, np.exp(-rate[k] * since) / first)
        course[felt] = 1.0
        dip = -dose * np.exp(log_dip[k]) * course
        mean += dip
        by_dip[:, k] += dip
        by_rate[:, k] -= dip * rate[k] * since
        scatter.append(session_sd * dip)
        dip_trend += dip[:, None] * weights[felt]
        rate_trend -= dip[:, None] * rate[k] * np.maximum(0.0, passed - passed[felt])
    start = -float(at["start_dip"]) * np.exp(-np.exp(float(at["start_log_rate"])) * day)
    means = {"dip": float(at["type_dip_mean"]), "rate": float(at["type_rate_mean"])}
    mean += start + by_dip @ (means["dip"] - log_dip) + by_rate @ (means["rate"] - log_rate)
    given = np.column_stack([SPREAD * by_dip, SPREAD * by_rate, *scatter, 0.5 * start])
    mean += float(np.nanmean((season.data["log_rmssd"].values - mean)[:known]))
    covariance = given @ given.T + 0.25**2 + _noise(at, nights)
    priors = posterior.priors.dip_trend_sd, posterior.priors.rate_trend_sd
    reading = season.data["log_rmssd"].values
    return Linear(reading, mean, covariance, known, dip_trend, rate_trend, priors)


def _noise(at: Any, nights: int) -> Floats:
    """Return the covariance of drift, of what lingers and of what is new each night."""
    variance = float(at["noise_sd"]) ** 2
    lingering, persistence = (
        float(at[name]) / (1 + float(at[name])) for name in ("lingering_odds", "persistence_odds")
    )
    day = np.arange(nights)
    drift = float(at["drift_sd"]) ** 2 * np.minimum.outer(day, day)
    lingers = lingering * variance * persistence ** np.abs(np.subtract.outer(day, day))
    new = (1 - lingering) * variance * np.exp(float(at["noise_tail"]) ** 2 / 2)
    return np.asarray(drift + lingers + new * np.eye(nights))


def changing(line: Linear) -> list[Floats]:
    """Return what a recovery that changes adds to the covariance, by the size of the changes."""
    sizes = [np.exp(belief.mean + belief.sd * SIZES) for belief in line.priors]
    dips, rates = line.dip_trend @ line.dip_trend.T, line.rate_trend @ line.rate_trend.T
    return [a**2 * dips + b**2 * rates for a in sizes[0] for b in sizes[1]]


def rhythm(phase: Floats) -> list[Floats]:
    """Return what one wave along a cycle adds, by its height.

    Args:
        phase: each night's place in its cycle, a share, shape (N,).
    """
    waves = np.column_stack([np.cos(2 * np.pi * phase), np.sin(2 * np.pi * phase)])
    heights = np.exp(HEIGHT.mean + HEIGHT.sd * SIZES)
    return [height**2 * waves @ waves.T for height in heights]


def gain(line: Linear, terms: Iterable[Floats]) -> tuple[float, int]:
    """Return how much more likely a term makes the nights held out, nats, and how many were read.

    Args:
        line: the season.
        terms: the term's covariance at sizes that are as likely beforehand.
    """
    read = np.isfinite(line.reading)
    known = read & (np.arange(len(read)) < line.known)

    def density(covariance: Floats, nights: NDArray[np.bool_]) -> float:
        root = cho_factor(covariance[np.ix_(nights, nights)], lower=True)
        error = (line.reading - line.mean)[nights]
        half = float(error @ cho_solve(root, error)) / 2
        logs = np.log(np.diag(root[0])) + 0.5 * np.log(2 * np.pi)
        return -half - float(logs.sum())

    each = np.array(
        [[density(line.covariance + term, nights) for nights in (read, known)] for term in terms]
    )
    both, learnt = logsumexp(each, axis=0)
    without = density(line.covariance, read) - density(line.covariance, known)
    return float(both - learnt - without), int((read & ~known).sum())
