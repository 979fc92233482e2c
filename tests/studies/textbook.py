"""The recovery model stated as a textbook would: what slackwater's speed is measured against.

Every night of baseline (a non-centred random walk) and of the transient (non-centred too, by its
dense matrix of fading) is sampled, and the dips are one dense session-by-night decay matrix.
Same parameters, priors and data as `slackwater.model.recovery`; sampled by `pm.sample` with PyMC's
own NUTS.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from slackwater.model import names as n
from slackwater.model.design import Design, design_of
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import Season


def textbook_model(season: Season) -> pm.Model:
    """Return the textbook statement of the model of a season."""
    season = season.observed()
    design = design_of(season)
    priors = Priors()
    with pm.Model() as model:
        share = _positive(n.FIRST_NIGHT, priors.first_night)
        rates, dips = _rates_and_dips(priors, design, share)
        nights = design.applied.shape[1]
        ratio = _normal(n.LOG_RATE_RATIO, priors.log_rate_ratio, shape=design.applied.shape[0])
        lift = _normal(n.LIFT, priors.lift, shape=design.applied.shape[0])
        passed = pt.cumsum(pt.exp(pt.dot(ratio, design.applied)))
        at = design.event_nights
        elapsed = passed[None, :] - passed[at][:, None]
        felt = np.arange(nights)[None, :] >= at[:, None]
        decay = pt.switch(felt, pt.exp(-rates[design.event_groups][:, None] * elapsed), 0.0)
        dip = pt.dot(dips, decay)
        drift_sd = _positive(n.DRIFT_SD, priors.drift_sd)
        start = _normal("baseline_start", priors.baseline)
        steps = pm.Normal("steps", shape=nights - 1)
        walk = pt.concatenate([pt.zeros(1), pt.cumsum(drift_sd * steps)])
        noise_sd = _positive(n.NOISE_SD, priors.noise_sd)
        odds = _positive(n.LINGERING_ODDS, priors.lingering_odds)
        kept = _positive(n.PERSISTENCE_ODDS, priors.persistence_odds)
        transient = noise_sd * pt.sqrt(odds / (1 + odds)) * _fading(kept / (1 + kept), nights)
        shift = _held_back(design, dips, share)
        step = _normal(n.SENSOR_STEP, priors.sensor_step, shape=design.by_sensor.shape[1])
        shift = shift + pt.dot(design.by_sensor, step)
        week = _positive(n.WEEKDAY_SD, priors.weekday_sd) * pm.Normal(n.WEEKDAY_Z, shape=7)
        shift = shift + pt.dot(design.by_weekday, week)
        tail = _positive(n.NOISE_TAIL, priors.noise_tail)
        scale = pm.Normal(n.NIGHT_SCALE, shape=len(design.readings))
        own = noise_sd**2 / (1 + odds) * pt.exp(tail * scale)
        pm.Normal(
            n.LOG_RMSSD,
            (start + walk + transient - dip + pt.dot(lift, design.applied))[design.reading_nights]
            + shift,
            pt.sqrt(own + design.reading_ln_sd**2),
            observed=design.readings,
        )
    return model


def _fading(persistence: Any, nights: int) -> Any:
    """Return a stationary transient of variance 1, shape (N,)."""
    apart = np.arange(nights)[:, None] - np.arange(nights)[None, :]
    weights = pt.switch(apart >= 0, persistence ** np.maximum(apart, 0), 0.0)
    first = np.arange(nights) == 0
    moves = pt.switch(first, 1.0, pt.sqrt(1 - persistence**2))
    return pt.dot(weights, moves * pm.Normal("transient_z", shape=nights))


def _held_back(design: Design, dips: Any, share: Any) -> Any:
    """Return the part of sessions' dips that their first night does not show yet, (R,)."""
    sessions = slice(1, 1 + len(design.session_types))
    felt = design.event_nights[sessions][None, :] == design.reading_nights[:, None]
    return (1 - share) * pt.dot(felt.astype(float), dips[sessions])


def _rates_and_dips(priors: Priors, design: Design, share: Any) -> tuple[Any, Any]:
    types = design.type_has_value.shape[0]
    values = design.type_has_value.shape[1]
    session_sd = _positive(n.SESSION_SD, priors.session_sd)
    dip_effect = _positive(n.ATTRIBUTE_DIP_SD, priors.attribute_dip_sd) * pm.Normal(
        "attribute_dip", shape=values
    )
    rate_effect = _positive(n.ATTRIBUTE_RATE_SD, priors.attribute_rate_sd) * pm.Normal(
        "attribute_rate", shape=values
    )
    dip_mean = _normal(n.TYPE_DIP_MEAN, priors.type_dip)
    rate_mean = _normal(n.TYPE_RATE_MEAN, priors.type_rate)
    dip_z = pm.Normal("type_dip_z", shape=types)
    rate_z = pm.Normal("type_rate_z", shape=types)
    log_dip = pm.Deterministic(
        "type_log_dip",
        dip_mean
        + pt.dot(design.type_has_value, dip_effect)
        + _positive(n.TYPE_DIP_SD, priors.type_dip_sd) * dip_z,
    )
    log_rate = pm.Deterministic(
        "type_log_rate",
        rate_mean
        + pt.dot(design.type_has_value, rate_effect)
        + _positive(n.TYPE_RATE_SD, priors.type_rate_sd) * rate_z,
    )
    z = pm.Normal("session_z", shape=len(design.dose))
    start = int(design.event_groups[0])
    stressors = start - types
    stressor_dip = _normal(n.STRESSOR_LOG_DIP, priors.stressor_dip, shape=stressors)
    stressor_rate = _normal(n.STRESSOR_LOG_RATE, priors.stressor_rate, shape=stressors)
    stressor_z = pm.Normal("stressor_z", shape=len(design.stressor_labels))
    dips = [
        _positive(n.START_DIP, priors.start_dip)[None],
        design.dose * pt.exp(log_dip[design.session_types] + session_sd * z) / share,
        pt.exp(stressor_dip[design.stressor_labels] + session_sd * stressor_z),
    ]
    start_rate = _normal(n.START_LOG_RATE, priors.start_rate)
    rates = [pt.exp(log_rate), pt.exp(stressor_rate), pt.exp(start_rate)[None]]
    unlogged = len(design.unlogged_nights)
    dips.append(_positive(n.UNLOGGED_DIP, priors.unlogged_dip, shape=unlogged))
    rates.append(pt.exp(rate_mean)[None])
    return pt.concatenate(rates), pt.concatenate(dips)


def _normal(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.Normal(name, belief.mean, belief.sd, **kwargs)


def _positive(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.LogNormal(name, belief.mean, belief.sd, **kwargs)
