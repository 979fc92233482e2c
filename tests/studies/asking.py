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


FEW_DRAWS: Final = 500
FEW_CHAINS: Final = 2


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
    """Return a season's posterior and how the fit went, its processor time in seconds too.

    A quarter of the usual draws, which move a range by less than seasons differ (see
    `tests.studies.settings`); four times as many where slackwater would not answer from them.
    """
    begun = time.process_time()
    posterior = fit(season, seed=seed, draws=FEW_DRAWS, chains=FEW_CHAINS, cores=1)
    if not posterior.checks.usable:
        posterior = fit(season, seed=seed, draws=4 * FEW_DRAWS, chains=FEW_CHAINS, cores=1)
    seconds = time.process_time() - begun
    return posterior, {**fit_facts(posterior), "seconds": seconds}


def fit_facts(posterior: Posterior) -> dict[str, float]:
    """Return how the sampler fared."""
    checks = posterior.checks
    return {
        "divergences": checks.divergences,
        "draws": checks.draws,
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


def share_held(draws: np.ndarray, truth: float) -> dict[str, float]:
    """Return how much of a truth the middle 80 % of draws hold, ties counted by their share.

    Days to recover are never fewer than one, and often exactly one. `held` is the part of the
    draws tied with the truth that lies in the middle 80 %, 1 or 0 where there are none: its mean
    is 0.8 where draws and truths are of one law, however many are tied (the expectation of a
    randomised probability integral transform: Czado, Gneiting & Held 2009, Biometrics
    65:1254-1261; from memory). What truths above one day can be expected to show: `over` is the
    share of draws above it, `inside` that of these in the range, `expected_error` the mean, over
    all, of the draws' median less each of these.
    """
    low, high = np.quantile(draws, [0.1, 0.9])
    below, up_to = (draws < truth - 1e-9).mean(), (draws <= truth + 1e-9).mean()
    tied = up_to - below
    if tied > 0:
        held = max(0.0, min(up_to, 0.9) - max(below, 0.1)) / tied
    else:
        held = float(0.1 <= below <= 0.9)
    over = draws > 1 + 1e-9
    return {
        "held": float(held),
        "over": float(over.mean()),
        "inside": float((over & (draws >= low) & (draws <= high)).mean()),
        "expected_error": float((over * (np.median(draws) - draws)).mean()),
    }
