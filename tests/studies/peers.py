"""Forecasters to be measured against: three that are simple."""

from __future__ import annotations

from typing import Any

import numpy as np
from statsmodels.tsa.statespace.structural import UnobservedComponents

from slackwater.model import names as n
from slackwater.model.season import Season

LAGS = (1, 2, 3, 4)
REFIT_EVERY = 14
_models: dict[Any, Any] = {}

Normal = tuple[float, float]  # mean and standard deviation, ln ms


def peer_forecasts(season: Season, origin: int, horizon: int) -> dict[str, Normal]:
    """Return each peer's forecast of the reading `horizon` nights after night `origin`."""
    readings = season.data[n.LOG_RMSSD].values
    lagged = _lagged_sessions(season)
    return {
        "mean of 7 nights": _week_mean(readings, origin),
        "local level": _local_level(season, readings, None, origin, horizon),
        "local level, session lags": _local_level(season, readings, lagged, origin, horizon),
    }


def _week_mean(readings: np.ndarray, origin: int) -> Normal:
    """Return the mean of the last 7 nights, and how far readings fell from such means."""
    errors = [
        readings[night] - np.nanmean(readings[night - 7 : night])
        for night in range(max(7, origin - 55), origin + 1)
        if not np.isnan(readings[night])
    ]
    return float(np.nanmean(readings[origin - 6 : origin + 1])), float(np.std(errors))


def _lagged_sessions(season: Season) -> np.ndarray:
    """Return the dose of each type at each lag, shape (nights, types x lags)."""
    nights = len(season.nights)
    first = season.session_nights()
    columns = np.zeros((nights, len(season.types), len(LAGS)))
    doses = season.data[n.DOSE].values
    for night, name, dose in zip(first, season.data[n.SESSION_TYPE].values, doses, strict=True):
        for place, lag in enumerate(LAGS):
            if night + lag - 1 < nights:
                columns[night + lag - 1, season.types.index(str(name)), place] += dose
    return columns.reshape(nights, -1)


def _local_level(
    season: Season, readings: np.ndarray, exog: np.ndarray | None, origin: int, horizon: int
) -> Normal:
    """Return statsmodels' forecast; its parameters are learnt anew every two weeks."""
    learnt_at = origin - origin % REFIT_EVERY
    kept = None if exog is None else np.flatnonzero(exog[: learnt_at + 1].any(axis=0))
    past = None if exog is None else exog[:, kept]

    def model(until: int) -> Any:
        known = None if past is None else past[: until + 1]
        return UnobservedComponents(readings[: until + 1], "local level", exog=known)

    key = (id(season), exog is None, learnt_at)
    if key not in _models:
        _models.clear() if len(_models) > 8 else None
        _models[key] = model(learnt_at).fit(disp=False).params
    future = None if past is None else past[origin + 1 : origin + horizon + 1]
    forecast = model(origin).smooth(_models[key]).get_forecast(horizon, exog=future)
    return float(forecast.predicted_mean[-1]), float(np.sqrt(forecast.var_pred_mean[-1]))
