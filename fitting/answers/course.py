"""The course of a season: readings, the state under them and baseline, night by night."""

from __future__ import annotations

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.past import past_of
from slackwater.fitting.state.standing import standing
from slackwater.model import names as n
from slackwater.model.season import Season


def course(season: Season, posterior: Posterior, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer where state and baseline lay on every night, judged by all readings.

    Args:
        season: the season as it is now; readings since the fit are taken in.
        posterior: its posterior.
        level: credible mass of every interval.

    Returns:
        Dimension `night`, every calendar day up to the last reading: `rmssd_ms` (readings, NaN
        where not read), `state_ms` (with `bound`; baseline minus what is left of all dips, as a
        reading shows them) and `baseline_ms` (with `bound`), both on the scale of the latest
        sensor fitted; where there is another sensor, `same_sensor_rmssd_ms`, the readings on that
        scale (middle estimate). Dimension `session`, those that a reading can show:
        `session_date`, `session_type`. Attribute `draws_used`.

    Raises:
        NoAnswerError: the fit is not to be trusted, the past was edited since, or what is new
            since the fit needs a new one.
    """
    check_level(level)
    now = standing(season, posterior)
    past = past_of(now, posterior)
    shown = past.season.data
    data = xr.Dataset(
        {
            "rmssd_ms": (n.NIGHT, np.exp(past.readings)),
            "state_ms": interval(np.exp(past.level - past.shown), level, (n.NIGHT,)),
            "baseline_ms": interval(np.exp(past.level), level, (n.NIGHT,)),
            n.SESSION_DATE: (n.SESSION, shown[n.SESSION_DATE].values),
            n.SESSION_TYPE: (n.SESSION, shown[n.SESSION_TYPE].values),
        },
        coords={n.NIGHT: past.season.nights.astype("datetime64[ns]")},
    )
    if past.shift.any():
        same = np.exp(past.readings - np.median(past.shift, axis=0))
        data["same_sensor_rmssd_ms"] = (n.NIGHT, same)
    return answer(data, "course", now, level, [], draws_used=past.draws.sizes["sample"])
