"""What the studies ask of slackwater, in one place: the rest of them knows only the answers."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final, NamedTuple

import numpy as np

from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.describing.held import Look
from slackwater.fitting.describing.residuals import Residuals, residuals
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.ahead import look_ahead
from slackwater.fitting.state.athlete import Athlete
from slackwater.model.season import Season

LOOKS: Final[Mapping[str, tuple[str, ...]]] = {
    "one night to the next": ("lag_1_autocorrelation",),
    "weekday": ("by_weekday",),
    "nights since a session": ("by_nights_since_session", "by_type"),
    "scatter": ("scatter_later_over_earlier",),
    "far nights": ("far_nights", "furthest"),
    "low nights in a row": ("low_stretch",),
    "dose": ("dose_power",),
}


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
    """Return what `baseline` says of readings that the log does not explain."""
    said = baseline(athlete).unexplained
    if said is None:
        return None
    return Flag(str(said.since), float(said.percent.median), int(said.nights))


def departures(athlete: Athlete) -> dict[str, dict[str, Any]]:
    """Return, by group of looks at the residuals, their `scores`, and whether any of them departs.

    Both by group; see `LOOKS`.
    """
    answer = residuals(athlete)
    looks = {group: [*_looks(answer, fields)] for group, fields in LOOKS.items()}
    return {
        "scores": {group: [each.z for each in found] for group, found in looks.items()},
        "departs": {group: any(each.departs for each in found) for group, found in looks.items()},
    }


def _looks(answer: Residuals, fields: Iterable[str]) -> Iterator[Look]:
    for name in fields:
        found = getattr(answer, name)
        if isinstance(found, Look):
            yield found
        elif found is not None:
            yield from found


def covers(interval: Interval, truth: float) -> dict[str, float]:
    """Return whether an interval holds the truth, its width, and its median's error."""
    low, median, high = interval
    return {
        "cover": float(low - 1e-9 <= truth <= high + 1e-9),
        "width": high - low,
        "error": median - truth,
    }
