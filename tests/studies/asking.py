"""What the studies ask of slackwater, in one place: the rest of them knows only the answers."""

from __future__ import annotations

import time
from typing import Any, NamedTuple

import numpy as np

from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.ahead import look_ahead
from slackwater.fitting.state.athlete import Athlete
from slackwater.model.season import Season


class Flag(NamedTuple):
    """What is said of a stretch that the log does not explain.

    Attributes:
        since: its first night.
        percent: how far readings lie above (or below: negative) what the log explains, median.
        nights: how long it has lasted.
    """

    since: str
    percent: float
    nights: int


def learn(season: Season, seed: int) -> tuple[Posterior, dict[str, float]]:
    """Return a season's posterior and how the fit went, its processor time in seconds too."""
    begun = time.process_time()
    posterior = fit(season, seed=seed, cores=1)
    seconds = time.process_time() - begun
    return posterior, {**fit_facts(posterior), "seconds": seconds}


def fit_facts(posterior: Posterior) -> dict[str, float]:
    """Return how the sampler fared."""
    checks = posterior.checks
    return {
        "divergences": checks.divergences,
        "rhat": checks.worst_rhat,
        "ess": checks.worst_ess,
    }


def coming_readings(athlete: Athlete, nights: int) -> np.ndarray:
    """Return draws of the next mornings' readings as they are logged for, (S, nights), ln ms."""
    return look_ahead(athlete.now, nights, []).reading


def unexplained(athlete: Athlete) -> Flag | None:
    """Return what `baseline` says of readings that the log does not explain.

    Until it says so, nothing is ever flagged.
    """
    said: Any = getattr(baseline(athlete), "unexplained", None)
    if said is None:
        return None
    return Flag(str(said.since), float(said.percent.median), int(said.nights))


def covers(interval: Interval, truth: float) -> dict[str, float]:
    """Return whether an interval holds the truth, its width, and its median's error."""
    low, median, high = interval
    return {
        "cover": float(low - 1e-9 <= truth <= high + 1e-9),
        "width": high - low,
        "error": median - truth,
    }
