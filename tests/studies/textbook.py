"""The recovery model stated as a textbook would: what slackwater's speed is measured against.

Every baseline night is sampled (a non-centred random walk), and the dips are one dense
session-by-night decay matrix a type. Same parameters, priors and data as
`slackwater.model.recovery`; sampled by `pm.sample` with PyMC's own NUTS.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pymc as pm
import pytensor.tensor as pt

from slackwater.model.design import Design, design_of
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import Season


def textbook_model(season: Season) -> pm.Model:
    """Return the textbook statement of the model of a season."""
    season = season.observed()
    design = design_of(season)
    priors = Priors()
    with pm.Model() as model:
        rates, dips = _rates_and_dips(priors, design)
        nights = design.applied.shape[1]
        ratio = _normal("log_rate_ratio", priors.log_rate_ratio, shape=design.applied.shape[0])
        passed = pt.cumsum(pt.exp(pt.dot(ratio, design.applied)))
        at = design.event_nights
        elapsed = passed[None, :] - passed[at][:, None]
        felt = np.arange(nights)[None, :] >= at[:, None]
        decay = pt.switch(felt, pt.exp(-rates[design.event_groups][:, None] * elapsed), 0.0)
        dip = pt.dot(dips, decay)
        drift_sd = _positive("drift_sd", priors.drift_sd)
        start = _normal("baseline_start", priors.baseline)
        steps = pm.Normal("steps", shape=nights - 1)
        walk = pt.concatenate([pt.zeros(1), pt.cumsum(drift_sd * steps)])
        step = _normal("sensor_step", priors.sensor_step, shape=design.by_sensor.shape[1])
        noise_sd = _positive("noise_sd", priors.noise_sd)
        tail = _positive("noise_tail", priors.noise_tail)
        scale = pm.Normal("night_scale", shape=len(design.readings))
        pm.Normal(
            "log_rmssd",
            (start + walk - dip)[design.reading_nights] + pt.dot(design.by_sensor, step),
            noise_sd * pt.exp(0.5 * tail * scale),
            observed=design.readings,
        )
    return model


def _rates_and_dips(priors: Priors, design: Design) -> tuple[Any, Any]:
    types = design.type_has_value.shape[0]
    values = design.type_has_value.shape[1]
    session_sd = _positive("session_sd", priors.session_sd)
    dip_effect = _positive("attribute_dip_sd", priors.attribute_dip_sd) * pm.Normal(
        "attribute_dip", shape=values
    )
    rate_effect = _positive("attribute_rate_sd", priors.attribute_rate_sd) * pm.Normal(
        "attribute_rate", shape=values
    )
    dip_mean = _normal("type_dip_mean", priors.type_dip)
    rate_mean = _normal("type_rate_mean", priors.type_rate)
    dip_z = pm.Normal("type_dip_z", shape=types)
    rate_z = pm.Normal("type_rate_z", shape=types)
    log_dip = pm.Deterministic(
        "type_log_dip",
        dip_mean
        + pt.dot(design.type_has_value, dip_effect)
        + _positive("type_dip_sd", priors.type_dip_sd) * dip_z,
    )
    log_rate = pm.Deterministic(
        "type_log_rate",
        rate_mean
        + pt.dot(design.type_has_value, rate_effect)
        + _positive("type_rate_sd", priors.type_rate_sd) * rate_z,
    )
    z = pm.Normal("session_z", shape=len(design.dose))
    stressors = int(design.event_groups.max()) - types
    stressor_dip = _normal("stressor_log_dip", priors.stressor_dip, shape=stressors)
    stressor_rate = _normal("stressor_log_rate", priors.stressor_rate, shape=stressors)
    stressor_z = pm.Normal("stressor_z", shape=len(design.stressor_labels))
    dips = [
        _positive("start_dip", priors.start_dip)[None],
        design.dose * pt.exp(log_dip[design.session_types] + session_sd * z),
        pt.exp(stressor_dip[design.stressor_labels] + session_sd * stressor_z),
    ]
    start_rate = _normal("start_log_rate", priors.start_rate)
    rates = [pt.exp(log_rate), pt.exp(stressor_rate), pt.exp(start_rate)[None]]
    return pt.concatenate(rates), pt.concatenate(dips)


def _normal(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.Normal(name, belief.mean, belief.sd, **kwargs)


def _positive(name: str, belief: Belief, **kwargs: Any) -> Any:
    return pm.LogNormal(name, belief.mean, belief.sd, **kwargs)
