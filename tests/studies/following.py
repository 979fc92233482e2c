"""One made season, followed: forecasts from every second morning of its last 8 weeks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scoringrules import crps_ensemble, crps_normal

from slackwater.fitting.state.athlete import Athlete
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.asking import coming_readings, learn
from tests.studies.generator import Made, make
from tests.studies.oracle import Oracle
from tests.studies.peers import peer_forecasts

LAST_NIGHTS = 56
HORIZONS = (1, 7)
REFIT_EVERY = 28


def follow(kind: str, seed: int) -> dict[str, Any]:
    """Forecast from every second morning of the last 8 weeks of one made season.

    The log is known, no later reading. Keys: `forecasts` (one entry a forecast: horizon, cover,
    width, and the CRPS of slackwater, its peers and the oracle), `fits`, `refits` (how many the
    data asked for).
    """
    made = make(kind, seed)
    season = Season.from_tables("made", **made.tables)
    oracle = Oracle(made, seed)
    last = len(season.nights) - 1
    posterior, fitted_at = None, -1
    forecasts: list[dict[str, Any]] = []
    fits, refits = [], 0
    for origin in range(last - min(LAST_NIGHTS, last // 3), last, 2):
        if not season.read[origin]:
            continue
        known = _readings_until(made, season.nights[origin])
        if posterior is None or origin - fitted_at >= REFIT_EVERY:
            (posterior, facts), fitted_at = learn(known, seed), origin
            fits.append(facts)
        athlete = Athlete(known, posterior)
        try:
            draws = coming_readings(athlete, max(HORIZONS))
        except NoAnswerError:
            (posterior, facts), fitted_at, refits = learn(known, seed), origin, refits + 1
            fits.append(facts)
            draws = coming_readings(Athlete(known, posterior), max(HORIZONS))
        forecasts += _scores(season, oracle, draws, origin)
    return {"kind": kind, "forecasts": forecasts, "fits": fits, "refits": refits}


def _readings_until(made: Made, night: np.datetime64) -> Season:
    """Return the season with its whole log, but no reading after `night`."""
    readings = made.tables["readings"]
    known = readings[pd.to_datetime(readings["date"]) <= pd.Timestamp(night)]
    return Season.from_tables("made", **{**made.tables, "readings": known})


def _scores(season: Season, oracle: Oracle, draws: np.ndarray, origin: int) -> list[dict[str, Any]]:
    low, high = np.quantile(draws, [0.1, 0.9], axis=0)
    readings = season.data[n.LOG_RMSSD].values
    rows = []
    for horizon in HORIZONS:
        target, step = origin + horizon, horizon - 1
        if target >= len(readings) or np.isnan(readings[target]):
            continue
        reading = float(readings[target])
        best = oracle.ahead(origin, horizon)
        crps = {
            "slackwater": float(crps_ensemble(reading, draws[::2, step], estimator="fair")),
            "oracle": float(crps_ensemble(reading, best, estimator="fair")),
        }
        for name, (mean, sd) in peer_forecasts(season, origin, horizon).items():
            crps[name] = float(crps_normal(reading, mean, sd))
        rows.append(
            {
                "horizon": horizon,
                "cover": float(low[step] <= reading <= high[step]),
                "width": float(high[step] - low[step]),
                "crps": crps,
            }
        )
    return rows
