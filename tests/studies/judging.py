"""One season of the calibration study: fit it, follow its last 8 weeks, judge every answer."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pandas as pd
from scoringrules import crps_ensemble, crps_normal, logs_normal

from slackwater.fitting import Athlete
from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.compare import compare_intervention
from slackwater.fitting.answers.intervals import Interval, interval_of
from slackwater.fitting.answers.recovery import Recovery, recovery, typical_days
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.ahead import look_ahead
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.generator import MEASURE, Made, make
from tests.studies.peers import oracle, peer_forecasts

LAST_NIGHTS = 56
HORIZONS = (1, 7)
REFIT_EVERY = 28
LEVEL = 0.8


def judge(kind: str, seed: int) -> dict[str, Any]:
    """Return how the answers about one made season compare with its truth.

    Keys: `types` (one entry a type: cover, width, error of typical and next-session
    days), `baseline`, `ratio` (where there is a measure), `fit` (divergences, worst R-hat
    and ESS).
    """
    made = make(kind, seed)
    season = Season.from_tables("made", **made.tables)
    posterior = _fit(season, seed)
    athlete = Athlete(season, posterior)
    level = baseline(athlete).baseline_rmssd_ms
    return {
        "kind": kind,
        "types": _types(recovery(athlete), made),
        "baseline": _covers(level, float(np.exp(made.level[-1]))),
        "ratio": _ratio(athlete, made),
        "fit": _facts(posterior),
    }


def follow(kind: str, seed: int) -> dict[str, Any]:
    """Forecast from every second morning of the last 8 weeks of one made season.

    The log is known, no later reading. Keys: `forecasts` (one entry a forecast: horizon,
    cover, and the scores of slackwater, its peers and the oracle), `fits`, `refits` (how
    many the data asked for).
    """
    made = make(kind, seed)
    season = Season.from_tables("made", **made.tables)
    forecasts, fits, refits = _follow(made, season, seed)
    return {"kind": kind, "forecasts": forecasts, "fits": fits, "refits": refits}


def decide(kind: str, nights: int, seed: int) -> dict[str, Any]:
    """Return the verdict on the measure of one made season, and the sessions behind it."""
    made = make(kind, seed, nights)
    season = Season.from_tables("made", **made.tables)
    posterior = _fit(season, seed)
    answer = compare_intervention(Athlete(season, posterior), MEASURE)
    return {
        "kind": kind,
        "nights": nights,
        "verdict": answer.verdict,
        "per_arm": min(answer.sessions_with, answer.sessions_without),
        **_covers(answer.rate_ratio, float(made.ratio or 1.0)),
        "fit": _facts(posterior),
    }


def catch_up(seed: int) -> dict[str, Any]:
    """Return how far answers after 7 mornings without a new fit lie from a new fit's.

    In posterior standard deviations of the new fit, for each answer's median.
    """
    made = make("as modelled", seed)
    season = Season.from_tables("made", **made.tables)
    early = season.through(season.nights[-8])
    posterior = _fit(early, seed)
    begun = time.perf_counter()
    try:
        updated = Athlete(season, posterior).now
    except NoAnswerError as refusal:
        return {"refused": str(refusal), "apart": {}}
    seconds = time.perf_counter() - begun
    refitted = Athlete(season, _fit(season, seed)).now
    apart = {}
    for name, values in _answers(refitted).items():
        other = np.median(_answers(updated)[name], axis=0)
        distance = np.abs(np.median(values, axis=0) - other) / values.std(axis=0)
        apart[name] = [float(d) for d in np.atleast_1d(distance)]
    return {"refused": "", "apart": apart, "seconds": seconds}


def _answers(now: Standing) -> dict[str, np.ndarray]:
    return {
        "typical_days": typical_days(now),
        "dip_left": now.dips.sum(axis=1),
        "baseline": now.level_mean,
        "tomorrow": look_ahead(now, 1, []).reading[:, 0],
    }


def _fit(season: Season, seed: int) -> Posterior:
    return fit(season, seed=seed, cores=1)


def _facts(posterior: Posterior) -> dict[str, float]:
    checks = posterior.checks
    ess = min(checks.worst_bulk_ess, checks.worst_tail_ess)
    return {"divergences": checks.divergences, "rhat": checks.worst_rhat, "ess": ess}


def _covers(interval: Interval, truth: float) -> dict[str, float]:
    low, median, high = interval
    return {
        "cover": float(low - 1e-9 <= truth <= high + 1e-9),
        "width": high - low,
        "error": median - truth,
    }


def _types(answer: Recovery, made: Made) -> list[dict[str, Any]]:
    rows = []
    for name in map(str, answer.types[n.TYPE].values):
        its = answer.types.sel({n.TYPE: name})
        typical, following = (interval_of(its[d]) for d in ("typical_days", "next_session_days"))
        rows.append(
            {
                "type": name,
                "sessions": int(its["sessions"]),
                "typical": _covers(typical, made.days[name]),
                "next": _covers(following, made.next_days[name]),
            }
        )
    return rows


def _ratio(athlete: Athlete, made: Made) -> dict[str, Any] | None:
    if made.ratio is None:
        return None
    answer = compare_intervention(athlete, MEASURE)
    facts = {"verdict": answer.verdict, "truth": made.ratio}
    return _covers(answer.rate_ratio, made.ratio) | facts


def _follow(
    made: Made, season: Season, seed: int
) -> tuple[list[dict[str, Any]], list[dict[str, float]], int]:
    last = len(season.nights) - 1
    posterior, fitted_at = None, -1
    forecasts, fits, refits = [], [], 0
    for origin in range(last - min(LAST_NIGHTS, last // 3), last, 2):
        if not season.read[origin]:
            continue
        known = _readings_until(made, season.nights[origin])
        if posterior is None or origin - fitted_at >= REFIT_EVERY:
            posterior, fitted_at = _fit(known, seed), origin
            fits.append(_facts(posterior))
        try:
            now = Athlete(known, posterior).now
        except NoAnswerError:
            posterior, fitted_at, refits = _fit(known, seed), origin, refits + 1
            fits.append(_facts(posterior))
            now = Athlete(known, posterior).now
        forecasts += _scores(made, season, now, origin)
    return forecasts, fits, refits


def _readings_until(made: Made, night: np.datetime64) -> Season:
    """Return the season with its whole log, but no reading after `night`."""
    readings = made.tables["readings"]
    known = readings[pd.to_datetime(readings["date"]) <= pd.Timestamp(night)]
    return Season.from_tables("made", **{**made.tables, "readings": known})


def _scores(made: Made, season: Season, now: Standing, origin: int) -> list[dict[str, Any]]:
    ahead = look_ahead(now, max(HORIZONS), [])
    low, high = np.quantile(ahead.reading, [0.1, 0.9], axis=0)
    readings = season.data[n.LOG_RMSSD].values
    rows = []
    for horizon in HORIZONS:
        target = origin + horizon
        if target >= len(readings) or np.isnan(readings[target]):
            continue
        reading = float(readings[target])
        step = horizon - 1
        mean, sd = oracle(made, readings, origin, horizon)
        row: dict[str, Any] = {
            "horizon": horizon,
            "cover": float(low[step] <= reading <= high[step]),
            "width": float(high[step] - low[step]),
            "crps": {
                "slackwater": float(crps_ensemble(reading, ahead.reading[::2, step])),
                "oracle": float(crps_normal(reading, mean, sd)),
            },
            "logs": {
                "slackwater": _log_score(now, ahead.shown[:, step], horizon, reading),
                "oracle": float(logs_normal(reading, mean, sd)),
            },
        }
        for name, (mean, sd) in peer_forecasts(season, origin, horizon).items():
            row["crps"][name] = float(crps_normal(reading, mean, sd))
            row["logs"][name] = float(logs_normal(reading, mean, sd))
        rows.append(row)
    return rows


def _log_score(now: Standing, dip: np.ndarray, horizon: int, reading: float) -> float:
    """Return minus the log predictive density, the night's noise scale summed out."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    drift = now.parameter(n.DRIFT_SD) ** 2 * horizon
    noise = now.parameter(n.NOISE_SD)[:, None] ** 2 * np.exp(
        now.parameter(n.NOISE_TAIL)[:, None] * nodes
    )
    variance = (now.level_variance + drift)[:, None] + noise
    error = (reading - (now.level_mean - dip))[:, None]
    density = np.exp(-0.5 * error**2 / variance) / np.sqrt(2 * np.pi * variance)
    return float(-np.log((density @ (weights / weights.sum())).mean()))
