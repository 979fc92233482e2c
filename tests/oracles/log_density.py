"""The recovery model's log density written apart from it, from the season's tables.

Every session and stressor day is a group of its own here, and the season is one big normal
density. Parameters are unconstrained, so positive ones come as their logs, which are normal.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit
from scipy.stats import norm

from slackwater.model.likelihood import LikelihoodInputs
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.oracles import dense

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]
Labels = Mapping[str, list[str]]

STANDARD = [
    "attribute_dip",
    "attribute_rate",
    "type_rate_z",
    "dip_trend_z",
    "rate_trend_z",
    "session_z",
    "stressor_z",
    "night_scale",
    "weekday_z",
]
PRIOR_OF = {
    "start_log_rate": "start_rate",
    "stressor_log_dip": "stressor_dip",
    "stressor_log_rate": "stressor_rate",
    "type_dip_mean": "type_dip",
    "type_rate_mean": "type_rate",
}


def log_density(season: Season, priors: Priors, values: Values, labels: Labels) -> float:
    """Return the joint log density of parameters and readings.

    Args:
        season: what the readings can show.
        priors: the priors.
        values: unconstrained parameters; "log noise_sd" is the log of noise_sd.
        labels: what each element of a parameter is about, by the parameter's dimension.
    """
    inputs, type_dip = likelihood_inputs(season, priors, values, labels)
    _, type_rate = _type_means(season.tables()["types"], values, labels)
    return _log_prior(values, priors, type_dip, type_rate) + dense.log_likelihood(inputs)


def _log_prior(values: Values, priors: Priors, type_dip: Floats, type_rate: Floats) -> float:
    total = 0.0
    for name, value in values.items():
        mean: Any = 0.0
        sd: Any = 1.0
        if name in ("type_log_dip", "type_mid_log_dip"):
            mean, sd = type_dip, np.exp(values["log type_dip_sd"])
        elif name == "type_log_rate":
            mean, sd = type_rate, np.exp(values["log type_rate_sd"])
        elif name not in STANDARD:
            prior = name.removeprefix("log ")
            mean, sd = getattr(priors, PRIOR_OF.get(prior, prior))
        total += float(np.sum(norm.logpdf(value, mean, sd)))
    return total


def _type_means(types: pd.DataFrame, values: Values, labels: Labels) -> tuple[Floats, Floats]:
    """Return the prior mean of each type's log dip and log rate."""
    if "type_dip_mean" not in values:
        return np.array([]), np.array([])
    dip = np.full(len(types), values["type_dip_mean"])
    rate = np.full(len(types), values["type_rate_mean"])
    for i, label in enumerate(labels["attribute_value"]):
        column, value = label.split(": ")
        has = (types[column] == value).to_numpy()
        dip[has] += (np.exp(values["log attribute_dip_sd"]) * values["attribute_dip"])[i]
        rate[has] += (np.exp(values["log attribute_rate_sd"]) * values["attribute_rate"])[i]
    return dip, rate


def _trend(of: str, ages: NDArray[np.int64], values: Values) -> Floats:
    """Return what the trend adds at ages in nights, by straight lines between half years."""
    if f"{of}_trend_z" not in values:
        return np.zeros(len(ages))
    steps = np.exp(values[f"log {of}_trend_sd"]) * values[f"{of}_trend_z"]
    knots = 182 * np.arange(len(steps) + 1)
    return np.asarray(np.interp(ages, knots, np.concatenate([[0.0], np.cumsum(steps)])))


def likelihood_inputs(
    season: Season, priors: Priors, values: Values, labels: Labels
) -> tuple[LikelihoodInputs, Floats]:
    """Return what the readings follow from, and the prior mean of each type's log dip."""
    tables = season.tables()
    type_dip, type_rate = _type_means(tables["types"], values, labels)
    ages = np.arange(len(season.nights))[::-1]
    scatter = np.exp(values["log session_sd"])
    nights = [np.array([0])]
    log_dips = [np.atleast_1d(values["log start_dip"])]
    log_rates = [np.atleast_1d(values["start_log_rate"])]
    if len(sessions := tables["sessions"]):
        kind = _positions(sessions["type"], list(tables["types"]["type"]))
        nights.append(_nights(season, sessions) + 1)
        trend = _trend("dip", ages[nights[1]], values)
        if "type_mid_log_dip" in values:
            type_log_dip, type_rate = (
                values["type_mid_log_dip"] - trend.mean(),
                values["type_log_rate"],
            )
            type_dip = type_dip + trend.mean()
        else:
            type_log_dip = values["type_log_dip"]
            type_rate = type_rate + np.exp(values["log type_rate_sd"]) * values["type_rate_z"]
        log_dip = type_log_dip[kind] + trend + scatter * values["session_z"]
        log_dip -= values["log first_night"]
        log_dips.append(log_dip + np.log(sessions["dose"].to_numpy(float)))
        log_rates.append(type_rate[kind])
    if len(stressors := tables["stressors"]):
        kind = _positions(stressors["stressor"], labels["stressor"])
        nights.append(_nights(season, stressors) + 1)
        log_dips.append(values["stressor_log_dip"][kind] + scatter * values["stressor_z"])
        log_rates.append(values["stressor_log_rate"][kind])
    if "log unlogged_dip" in values:
        at = [str(night) for night in season.nights]
        nights.append(np.array([at.index(night) for night in labels["unlogged_night"]]))
        log_dips.append(values["log unlogged_dip"])
        log_rates.append(np.full(len(nights[-1]), values["type_rate_mean"]))

    readings = tables["readings"]
    shift = np.zeros(len(readings))
    speed = np.exp(_trend("rate", ages, values))
    if len(applied := tables["interventions"]):
        kind = _positions(applied["intervention"], labels["intervention"])
        ratios, lifts = np.exp(values["log_rate_ratio"][kind]), values["lift"][kind]
        for night, ratio, lift in zip(_nights(season, applied) + 1, ratios, lifts, strict=True):
            speed[night] *= ratio
            shift[_nights(season, readings) == night] += lift

    for i, sensor in enumerate(labels["other_sensor"]):
        shift += values["sensor_step"][i] * (readings["sensor"] == sensor).to_numpy()
    of_day = np.exp(values["log weekday_sd"]) * values["weekday_z"]
    shift += (of_day - of_day.mean())[pd.DatetimeIndex(readings["date"]).day_of_week]
    if len(sessions):
        hidden = (1 - np.exp(values["log first_night"])) * np.exp(log_dips[1])
        for night, part in zip(nights[1], hidden, strict=True):
            shift[_nights(season, readings) == night] += part
    tail = np.exp(values["log noise_tail"]) * values["night_scale"]
    measured = readings["ln_sd"].to_numpy(float)
    lingering = expit(values["log lingering_odds"])
    inputs = LikelihoodInputs(
        readings=readings["log_rmssd"].to_numpy(float),
        reading_nights=_nights(season, readings),
        event_nights=np.concatenate(nights),
        event_groups=np.arange(len(np.concatenate(nights))),
        new_level=_new_levels(season, priors),
        carried=np.zeros(len(season.nights)),
        jump=np.zeros(len(season.nights)),
        event_dips=np.exp(np.concatenate(log_dips)),
        rates=np.exp(np.concatenate(log_rates)),
        speed=speed,
        shift=shift,
        noise_variance=(1 - lingering) * np.exp(2 * values["log noise_sd"] + tail) + measured**2,
        drift_variance=np.exp(2 * values["log drift_sd"]),
        transient_variance=np.asarray(lingering * np.exp(2 * values["log noise_sd"])),
        persistence=np.asarray(expit(values["log persistence_odds"])),
        start_mean=np.asarray(priors.baseline.mean),
        start_variance=np.asarray(priors.baseline.sd**2),
    )
    return inputs, type_dip


def _new_levels(season: Season, priors: Priors) -> Floats:
    variance = np.zeros(len(season.nights))
    for night in _nights(season, season.tables()["levels"]):
        if night > 0:
            variance[night] = priors.new_level.sd**2
    return variance


def _nights(season: Season, table: pd.DataFrame) -> NDArray[np.int64]:
    """Index of the night that ends on the morning of each row's date."""
    days = table["date"].to_numpy().astype("datetime64[D]") - season.first_night
    return np.asarray(days.astype(int))


def _positions(labels: pd.Series, among: list[str]) -> list[int]:
    return [among.index(str(label)) for label in labels]
