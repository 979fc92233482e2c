"""The recovery model of one season, as a plain PyMC model.

    reading[n]  = level[n] - sum_g dip[g, n] + held back[n] + lift[n] + weekday[n] + sensor step
                  + noise[n]                                                       ln ms
    level[n]    = baseline[n] + transient[n] + unexplained[n]
    baseline[n] = baseline[n-1] + Normal(0, drift_sd)
    transient[n] = persistence * transient[n-1] + Normal(0, ...), SD sqrt(lingering) * noise_sd
    dip[g, n]   = dip[g, n-1] * exp(-rate[g] * speed[n]) + dips of events felt first on n
    unlogged dip: on each night of a gap in the log that is longer than usual
    session dip = dose * exp(type_log_dip + dip trend + session_sd * session_z) / first_night
    held back[n] = (1 - first_night) * the dips of sessions felt first on n
    speed[n]    = exp(rate trend[n] + sum of log_rate_ratio over the interventions that act on n)
    lift[n]     = sum of lift over the interventions that act on n
    weekday[n]  = weekday_sd * (weekday_z of the day of n - their mean over a week)
    noise[n]    ~ Normal(0, (1 - lingering) * noise_sd^2 * exp(noise_tail * night_scale[n])
                            + reading_ln_sd[n]^2)

`type_log_dip` and `type_log_rate` are partially pooled over the types and over the values
of their attributes. The trends, in seasons of more than half a year alone, let recovery as a
whole change slowly; see `slackwater.model.trend`. The level is integrated out in the
likelihood; `slackwater.model.levels` says what the unexplained is, and when there is any.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from types import SimpleNamespace
from typing import Any, Final, cast

import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
import xarray as xr

from slackwater.model import names as n
from slackwater.model.design import Design, design_of, other_sensors
from slackwater.model.dynamics import dip_path
from slackwater.model.levels import Motion, Steps, free_path, start_state
from slackwater.model.likelihood import LikelihoodInputs, season_loglik
from slackwater.model.pooling import centred, non_centred
from slackwater.model.priors import Belief, GroupPriors, Priors
from slackwater.model.season import Season
from slackwater.model.unexplained import Stretch, steps_of

BELIEF: Final = "belief"  # a prior's mean and standard deviation
STANDARD: Final = Belief(0.0, 1.0)
# What a group may know label by label: its dimension, and the belief about any label, if absolute.
OF_LABELS: Final = {
    n.TYPE_LOG_DIP: (n.TYPE, None),
    n.TYPE_LOG_RATE: (n.TYPE, None),
    n.ATTRIBUTE_DIP: (n.ATTRIBUTE_VALUE, None),
    n.ATTRIBUTE_RATE: (n.ATTRIBUTE_VALUE, None),
    n.LOG_RATE_RATIO: (n.INTERVENTION, "log_rate_ratio"),
    n.LIFT: (n.INTERVENTION, "lift"),
    n.STRESSOR_LOG_DIP: (n.STRESSOR, "stressor_dip"),
    n.STRESSOR_LOG_RATE: (n.STRESSOR, "stressor_rate"),
}


def build_model(
    season: Season, priors: Priors | None = None, stretches: Sequence[Stretch] = ()
) -> pm.Model:
    """Return the model of what a season's readings can show.

    Args:
        season: a season; what its last reading cannot yet show is left out.
        priors: what is believed beforehand; the defaults if left out.
        stretches: nights that the log does not explain, as a watch found them.

    Returns:
        A model with named dims and coords, for any PyMC sampler. Observed: `log_rmssd`,
        the readings (dim `reading`, ln ms).
    """
    priors = priors or Priors()
    season = season.observed()
    design = design_of(season)
    steps = steps_of(season, priors, stretches)
    with pm.Model() as model:
        coords = _coords(season, design)
        if isinstance(priors, GroupPriors):
            coords[BELIEF] = ["mean", "sd"]
        for dim, labels in coords.items():
            model.add_coord(
                dim, labels, length=pytensor.shared(len(labels), name=f"length of {dim}")
            )
        data = _data(design)
        for name, values in steps._asdict().items():
            data[name] = pm.Data(name, values, dims=n.NIGHT)
        for name, values in _group_beliefs(priors, model.coords).items():
            data[name] = pm.Data(name, values, dims=_dim_of_belief(name))
        priors = _in_the_graph(priors, data)
        trained = design.session_types.size > 0
        share = _positive(n.FIRST_NIGHT, priors.first_night) if trained else 1.0
        rates, dips = _rates_and_dips(priors, design, data, share)
        shift = _held_back(data, dips, share) + _sensor_step(priors, design, data)
        shift = shift + _rhythm(priors, data)
        if design.applied.size:
            lift = _normals(n.LIFT, priors.lift, n.INTERVENTION, data)
            shift = shift + pt.dot(lift, data["applied"])[data["reading_nights"]]
        _observe_readings(priors, design, steps, data, rates, dips, shift)
    return model


def put_season(
    model: pm.Model, season: Season, priors: Priors, stretches: Sequence[Stretch] = ()
) -> None:
    """Give a model another season's data, for the many that differ in nothing else.

    Args:
        model: the model of a season that has the same kinds of things in it: types, attributes,
            stressors, interventions, other sensors, more than half a year, or none of them.
        season: up to its last reading.
        priors: what the model believes beforehand.
        stretches: nights that the log does not explain.
    """
    design = design_of(season)
    coords = _coords(season, design)
    for dim, labels in coords.items():
        model.set_dim(dim, len(labels), labels)
    given = {**design._asdict(), **steps_of(season, priors, stretches)._asdict()}
    given |= _group_beliefs(priors, coords)
    given |= {
        n.BASELINE_PRIOR_MEAN: priors.baseline.mean,
        n.BASELINE_PRIOR_SD: priors.baseline.sd,
    }
    for data in model.data_vars:
        if data.name in given:
            data.set_value(np.asarray(given[data.name], data.dtype))


def with_type_parameters(draws: xr.Dataset, constant: xr.Dataset) -> xr.Dataset:
    """Add `type_log_rate` and `type_log_dip` to draws of the free parameters.

    As the model defines them: a season without a trend has its `type_log_dip` free, one
    with a trend its `type_log_rate`.

    Args:
        draws: draws of the free parameters, by name.
        constant: the model's constant data.
    """
    if n.DIP_TREND_Z in draws:
        return draws.assign(
            {n.TYPE_LOG_DIP: draws[n.TYPE_MID_LOG_DIP] - _mean_trend(draws, constant)}
        )
    if n.TYPE_RATE_Z not in draws:
        return draws
    rate = draws[n.TYPE_RATE_MEAN] + draws[n.TYPE_RATE_SD] * draws[n.TYPE_RATE_Z]
    if n.ATTRIBUTE_RATE in draws:
        effect = draws[n.ATTRIBUTE_RATE_SD] * draws[n.ATTRIBUTE_RATE]
        rate = rate + constant["type_has_value"].dot(effect, dim=n.ATTRIBUTE_VALUE)
    return draws.assign({n.TYPE_LOG_RATE: rate.transpose(n.CHAIN, n.DRAW, n.TYPE)})


def _mean_trend(draws: xr.Dataset, constant: xr.Dataset) -> xr.DataArray:
    """Return the sessions' mean of the trend of log dips."""
    felt = constant["event_nights"].values[1 : 1 + constant.sizes[n.SESSION]]
    weights = constant["trend"].isel({n.NIGHT: felt}).mean(n.NIGHT)
    return draws[n.DIP_TREND_SD] * draws[n.DIP_TREND_Z].dot(weights, dim=n.HALF_YEAR)


def _data(design: Design) -> dict[str, Any]:
    """Register the design as data.

    Data and lengths are inputs of the compiled model, so that a new season of the same
    make-up finds the cached machine code.
    """
    dims = {
        "reading_nights": n.READING,
        "reading_ln_sd": n.READING,
        "event_nights": "event",
        "event_groups": "event",
        "session_types": n.SESSION,
        "dose": n.SESSION,
        "stressor_labels": n.STRESSOR_DAY,
        "type_has_value": (n.TYPE, n.ATTRIBUTE_VALUE),
        "applied": (n.INTERVENTION, n.NIGHT),
        "by_sensor": (n.READING, n.OTHER_SENSOR),
        "by_weekday": (n.READING, n.WEEKDAY),
        "trend": (n.NIGHT, n.HALF_YEAR),
    }
    values = design._asdict()
    return {name: pm.Data(name, values[name], dims=d) for name, d in dims.items()}


def _coords(season: Season, design: Design) -> dict[str, Any]:
    nights = [str(d) for d in season.nights]
    stressor_days = season.data[n.STRESSOR_DATE].values.astype("datetime64[D]")
    session_days = season.data[n.SESSION_DATE].values.astype("datetime64[D]")
    sessions = _numbered(session_days, season.data[n.SESSION_TYPE].values)
    unlogged = [nights[night] for night in design.unlogged_nights]
    stressors = _numbered(stressor_days, season.data[n.STRESSOR_LABEL].values)
    return {
        "event": ["start", *sessions, *stressors, *(f"{night} ?" for night in unlogged)],
        n.UNLOGGED_NIGHT: unlogged,
        n.NIGHT: nights,
        n.READING: [night for night, read in zip(nights, season.read, strict=True) if read],
        n.TYPE: season.types,
        n.SESSION: sessions,
        n.ATTRIBUTE_VALUE: design.attribute_values,
        n.STRESSOR: season.stressors,
        n.STRESSOR_DAY: stressors,
        n.INTERVENTION: season.interventions,
        n.OTHER_SENSOR: other_sensors(season),
        n.WEEKDAY: list(n.WEEKDAYS),
        n.HALF_YEAR: [str(step + 1) for step in range(design.trend.shape[1])],
    }


def _numbered(days: Any, labels: Any) -> list[str]:
    """Name each event by day and label, a repeat on one day by a number behind."""
    seen: dict[str, int] = {}
    out = []
    for day, label in zip(days, labels, strict=True):
        name = f"{day} {label}"
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} {seen[name]}")
    return out


def _normal(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.Normal(name, belief.mean, belief.sd, **kwargs)


def _positive(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.LogNormal(name, belief.mean, belief.sd, **kwargs)


def _group_beliefs(priors: Priors, coords: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a group believes, by data's name, so that no group needs code of its own.

    Of each prior its mean and standard deviation; of labels how much more than any label's is
    believed, and with which standard deviation: 0 where a label is believed to be as any other.
    """
    if not isinstance(priors, GroupPriors):
        return {}
    found = {f"prior {f.name}": np.array(getattr(priors, f.name)) for f in fields(Priors)}
    for quantity, (dim, field) in OF_LABELS.items():
        if len(coords[dim]):
            known = [priors.of(quantity, str(label)) for label in coords[dim]]
            usual = getattr(priors, field).mean if field else 0.0
            found[f"{quantity} more"] = np.array([b.mean - usual if b else 0.0 for b in known])
            found[f"{quantity} sd"] = np.array([b.sd if b else 0.0 for b in known])
    return found


def _dim_of_belief(name: str) -> str:
    return OF_LABELS[name.split()[0]][0] if name.split()[0] in OF_LABELS else BELIEF


def _in_the_graph(priors: Priors, data: dict[str, Any]) -> Priors:
    """Return beliefs as they stand in the graph: a group's as data, any other as constants."""
    if not isinstance(priors, GroupPriors):
        return priors
    every = {f.name: data[f"prior {f.name}"] for f in fields(Priors)}
    beliefs = SimpleNamespace(**{name: Belief(each[0], each[1]) for name, each in every.items()})
    beliefs.baseline = priors.baseline  # is data of its own
    return cast(Priors, beliefs)


def _apart(name: str, mean: Any, sd: Any, data: dict[str, Any]) -> tuple[Any, Any]:
    """Return mean and standard deviation of each label's quantity; those of any where no other."""
    if f"{name} sd" not in data:
        return mean, sd
    own = data[f"{name} sd"]
    return mean + data[f"{name} more"], pt.switch(pt.gt(own, 0.0), own, sd)


def _normals(name: str, belief: Belief, dim: str, data: dict[str, Any]) -> Any:
    return pm.Normal(name, *_apart(name, *belief, data), dims=dim)


def _rates_and_dips(
    priors: Priors, design: Design, data: dict[str, Any], share: Any
) -> tuple[Any, Any]:
    """Return rates (G,) and event dips (E,), with the priors of all they depend on."""
    session_sd = _positive(n.SESSION_SD, priors.session_sd)
    rates, dips = [], [_positive(n.START_DIP, priors.start_dip)[None]]
    if design.session_types.size:
        trend = _session_trend(priors, data) if design.trend.size else None
        log_dip, log_rate, middle_log_rate = _types(priors, design, data, trend)
        z = pm.Normal(n.SESSION_Z, dims=n.SESSION)
        log_dips = log_dip[data["session_types"]] + session_sd * z
        first_night = data["dose"] * pt.exp(log_dips if trend is None else log_dips + trend)
        dips.append(first_night / share)
        rates.append(pt.exp(log_rate))
    if design.stressor_labels.size:
        log_dip = _normals(n.STRESSOR_LOG_DIP, priors.stressor_dip, n.STRESSOR, data)
        log_rate = _normals(n.STRESSOR_LOG_RATE, priors.stressor_rate, n.STRESSOR, data)
        z = pm.Normal(n.STRESSOR_Z, dims=n.STRESSOR_DAY)
        dips.append(pt.exp(log_dip[data["stressor_labels"]] + session_sd * z))
        rates.append(pt.exp(log_rate))
    rates.append(pt.exp(_normal(n.START_LOG_RATE, priors.start_rate))[None])
    if design.unlogged_nights.size:  # which type it would be, nobody knows
        dips.append(_positive(n.UNLOGGED_DIP, priors.unlogged_dip, dims=n.UNLOGGED_NIGHT))
        rates.append(pt.exp(middle_log_rate)[None])
    return pt.concatenate(rates), pt.concatenate(dips)


def _trend(name: str, sd: Any, data: dict[str, Any]) -> Any:
    """Return what recovery's trend adds to a logarithm on each night, shape (N,)."""
    return pt.dot(data["trend"], sd * pm.Normal(name, dims=n.HALF_YEAR))


def _session_trend(priors: Priors, data: dict[str, Any]) -> Any:
    """Return what recovery's trend adds to each session's log dip, (I,)."""
    felt = data["event_nights"][1 : 1 + data["session_types"].shape[0]]
    sd = _positive(n.DIP_TREND_SD, priors.dip_trend_sd)
    return _trend(n.DIP_TREND_Z, sd, data)[felt]


def _types(
    priors: Priors, design: Design, data: dict[str, Any], trend: Any
) -> tuple[Any, Any, Any]:
    """Return log dip and log rate of each type, shape (K,) both, and the mean log rate of types.

    Dips are centred (many sessions inform each), rates are not (few readings do). In the
    long seasons that have a trend both are, and what is sampled is the dip of an average
    session, which the readings tell best.
    """
    dip_mean = _normal(n.TYPE_DIP_MEAN, priors.type_dip)
    rate_mean = middle = _normal(n.TYPE_RATE_MEAN, priors.type_rate)
    if design.attribute_values:
        dip_sd = _positive(n.ATTRIBUTE_DIP_SD, priors.attribute_dip_sd)
        rate_sd = _positive(n.ATTRIBUTE_RATE_SD, priors.attribute_rate_sd)
        dip_effect = dip_sd * _normals(n.ATTRIBUTE_DIP, STANDARD, n.ATTRIBUTE_VALUE, data)
        rate_effect = rate_sd * _normals(n.ATTRIBUTE_RATE, STANDARD, n.ATTRIBUTE_VALUE, data)
        dip_mean = dip_mean + pt.dot(data["type_has_value"], dip_effect)
        rate_mean = rate_mean + pt.dot(data["type_has_value"], rate_effect)
    known = f"{n.TYPE_LOG_RATE} sd" in data  # then their spread is no parameter to stick at 0
    dip_sd = _positive(n.TYPE_DIP_SD, priors.type_dip_sd)
    rate_sd = _positive(n.TYPE_RATE_SD, priors.type_rate_sd)
    dip_mean, dip_sd = _apart(n.TYPE_LOG_DIP, dip_mean, dip_sd, data)
    rate_mean, rate_sd = _apart(n.TYPE_LOG_RATE, rate_mean, rate_sd, data)
    if trend is None:
        log_dip = centred(n.TYPE_LOG_DIP, dip_mean, dip_sd, n.TYPE)
        if known:
            return log_dip, centred(n.TYPE_LOG_RATE, rate_mean, rate_sd, n.TYPE), middle
        log_rate = non_centred(n.TYPE_LOG_RATE, n.TYPE_RATE_Z, rate_mean, rate_sd, n.TYPE)
        return log_dip, log_rate, middle
    mean = trend.mean()
    mid = centred(n.TYPE_MID_LOG_DIP, dip_mean + mean, dip_sd, n.TYPE)
    log_dip = pm.Deterministic(n.TYPE_LOG_DIP, mid - mean, dims=n.TYPE)
    return log_dip, centred(n.TYPE_LOG_RATE, rate_mean, rate_sd, n.TYPE), middle


def _held_back(data: dict[str, Any], dips: Any, share: Any) -> Any:
    """Return the part of sessions' dips that their first night does not show yet, (R,)."""
    sessions = slice(1, 1 + data["session_types"].shape[0])
    felt = pt.zeros(data["applied"].shape[1])[data["event_nights"][sessions]].inc(dips[sessions])
    return (1.0 - share) * felt[data["reading_nights"]]


def _sensor_step(priors: Priors, design: Design, data: dict[str, Any]) -> Any:
    """Return what the sensor adds to each reading, (R,)."""
    if not design.by_sensor.size:
        return pt.zeros(data["reading_nights"].shape)
    step = _normal(n.SENSOR_STEP, priors.sensor_step, dims=n.OTHER_SENSOR)
    return pt.dot(data["by_sensor"], step)


def _rhythm(priors: Priors, data: dict[str, Any]) -> Any:
    """Return what the day of the week adds to each reading, (R,)."""
    sd = _positive(n.WEEKDAY_SD, priors.weekday_sd)
    return pt.dot(data["by_weekday"], sd * pm.Normal(n.WEEKDAY_Z, dims=n.WEEKDAY))


def _speed(priors: Priors, design: Design, data: dict[str, Any]) -> Any:
    """Return the factor on all recovery rates for the step into each night, (N,)."""
    log_speed: Any = pt.zeros(data["applied"].shape[1])
    if design.applied.size:
        ratio = _normals(n.LOG_RATE_RATIO, priors.log_rate_ratio, n.INTERVENTION, data)
        log_speed = log_speed + pt.dot(ratio, data["applied"])
    if design.trend.size:
        sd = _positive(n.RATE_TREND_SD, priors.rate_trend_sd)
        log_speed = log_speed + _trend(n.RATE_TREND_Z, sd, data)
    return pt.exp(log_speed)


def _observe_readings(
    priors: Priors,
    design: Design,
    steps: Steps,
    data: dict[str, Any],
    rates: Any,
    dips: Any,
    shift: Any,
) -> None:
    speed = _speed(priors, design, data)
    noise_sd = _positive(n.NOISE_SD, priors.noise_sd)
    odds = _positive(n.LINGERING_ODDS, priors.lingering_odds)
    kept = _positive(n.PERSISTENCE_ODDS, priors.persistence_odds)
    tail = _positive(n.NOISE_TAIL, priors.noise_tail)
    scale = pm.Normal(n.NIGHT_SCALE, dims=n.READING)
    drift_sd = _positive(n.DRIFT_SD, priors.drift_sd)

    def logp(readings: Any, *parameters: Any) -> Any:
        names = ("reading_nights", "event_nights", "event_groups", *Steps._fields)
        known = (data[name] for name in names)
        return season_loglik(LikelihoodInputs(readings, *known, *parameters))

    def random(*parameters: Any, rng: np.random.Generator, size: Any = None) -> Any:
        return _simulated_readings(design, steps, parameters, rng)

    pm.CustomDist(
        n.LOG_RMSSD,
        dips,
        rates,
        speed,
        shift,
        noise_sd**2 / (1 + odds) * pt.exp(tail * scale) + data["reading_ln_sd"] ** 2,
        drift_sd**2,
        noise_sd**2 * odds / (1 + odds),
        kept / (1 + kept),
        pm.Data(n.BASELINE_PRIOR_MEAN, priors.baseline.mean),
        pm.Data(n.BASELINE_PRIOR_SD, priors.baseline.sd) ** 2,
        logp=logp,
        random=random,
        signature="(e),(g),(n),(r),(r),(),(),(),(),()->(r)",
        observed=pm.Data("readings", design.readings, dims=n.READING),
        dims=n.READING,
    )


def _simulated_readings(
    design: Design, steps: Steps, parameters: tuple[Any, ...], rng: np.random.Generator
) -> Any:
    """Draw the readings of one season, for prior and posterior prediction."""
    dips, rates, speed, shift, noise_variance, *moving, mean, variance = parameters
    events = (design.event_nights, design.event_groups)
    dip = dip_path(dips[None], *events, rates[None], speed[None])[0].sum(axis=1)
    motion = Motion(*(np.atleast_1d(x) for x in moving))
    start = start_state(np.atleast_1d(mean), np.atleast_1d(variance), motion, steps)
    level = free_path(motion, steps, start, len(speed), rng)[:, 0].sum(axis=0)
    noise = np.sqrt(noise_variance) * rng.standard_normal(len(shift))
    return (level - dip)[design.reading_nights] + shift + noise
