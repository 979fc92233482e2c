"""What the demo's readings follow from in one draw, worked out again from the tables."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from slackwater.model import names as n
from slackwater.model.likelihood import LikelihoodInputs
from slackwater.model.season import DAY
from tests.fitting.conftest import Fitted


class Events(NamedTuple):
    """What dipped the state: each one's group, first night and size."""

    groups: list[str]
    nights: list[int]
    dips: list[float]


def events(demo: Fitted, draw: xr.Dataset) -> Events:
    """Work the events out again from the season's tables and one draw."""
    tables = demo.season.observed().tables()
    found = Events([n.START], [0], [float(draw[n.START_DIP])])
    scatter = float(draw[n.SESSION_SD])

    def add(
        rows: Any, label: str, log_dips: xr.DataArray, scores: xr.DataArray, share: float
    ) -> None:
        for row, score in zip(rows.to_dict("records"), scores.values, strict=True):
            night = int((row["date"].to_datetime64() - demo.season.first_night) / DAY) + 1
            typical = float(log_dips.sel({log_dips.dims[0]: row[label]}))
            found.groups.append(row[label])
            found.nights.append(night)
            found.dips.append(row.get("dose", 1.0) * np.exp(typical + scatter * score) / share)

    share = float(draw[n.FIRST_NIGHT])
    add(tables["sessions"], "type", draw[n.TYPE_LOG_DIP], draw[n.SESSION_Z], share)
    add(tables["stressors"], "stressor", draw[n.STRESSOR_LOG_DIP], draw[n.STRESSOR_Z], 1.0)
    for label, dip in zip(draw[n.UNLOGGED_NIGHT].values, draw[n.UNLOGGED_DIP].values, strict=True):
        found.groups.append(n.UNLOGGED)
        found.nights.append(int((np.datetime64(str(label)) - demo.season.first_night) / DAY))
        found.dips.append(float(dip))
    return found


def inputs(demo: Fitted, draw: xr.Dataset, log_rates: dict[str, float]) -> LikelihoodInputs:
    season = demo.season.observed()
    done = events(demo, draw)
    groups = list(log_rates)
    acts = season.applied()
    log_speed, lifted = np.zeros((2, len(season.nights)))
    for row, name in enumerate(season.interventions):
        ratio = float(draw[n.LOG_RATE_RATIO].sel({n.INTERVENTION: name}))
        log_speed += np.where(acts[row], ratio, 0.0)
        lifted += np.where(acts[row], float(draw[n.LIFT].sel({n.INTERVENTION: name})), 0.0)
    table = season.tables()["readings"]
    constant = demo.posterior.tree["constant_data"]
    scale = draw[n.NIGHT_SCALE].values
    noise = float(draw[n.NOISE_SD]) ** 2 * np.exp(float(draw[n.NOISE_TAIL]) * scale)
    odds, kept = float(draw[n.LINGERING_ODDS]), float(draw[n.PERSISTENCE_ODDS])
    step = float(draw[n.SENSOR_STEP].sel({n.OTHER_SENSOR: "finger clip"}))
    of_day = float(draw[n.WEEKDAY_SD]) * draw[n.WEEKDAY_Z].values
    days = pd.DatetimeIndex(table["date"]).day_of_week
    held_back = np.zeros(len(season.nights))
    for group, night, dip in zip(done.groups, done.nights, done.dips, strict=True):
        if group in season.types:
            held_back[night] += (1 - float(draw[n.FIRST_NIGHT])) * dip
    return LikelihoodInputs(
        readings=table["log_rmssd"].to_numpy(),
        reading_nights=np.flatnonzero(season.read),
        event_nights=np.array(done.nights),
        event_groups=np.array([groups.index(group) for group in done.groups]),
        new_level=np.zeros(len(season.nights)),
        carried=np.zeros(len(season.nights)),
        jump=np.zeros(len(season.nights)),
        event_dips=np.array(done.dips),
        rates=np.exp(np.array(list(log_rates.values()))),
        speed=np.exp(log_speed),
        shift=np.where(table["sensor"] == "finger clip", step, 0.0)
        + (held_back + lifted)[season.read]
        + (of_day - of_day.mean())[days],
        noise_variance=noise / (1 + odds),
        drift_variance=np.asarray(float(draw[n.DRIFT_SD]) ** 2),
        transient_variance=np.asarray(float(draw[n.NOISE_SD]) ** 2 * odds / (1 + odds)),
        persistence=np.asarray(kept / (1 + kept)),
        start_mean=np.asarray(float(constant[n.BASELINE_PRIOR_MEAN])),
        start_variance=np.asarray(float(constant[n.BASELINE_PRIOR_SD]) ** 2),
    )
