"""Athletes and their group in one fit, and what is refused before anything is compiled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting.pooling.jointly import MOST_ATHLETES, fit_jointly
from slackwater.model import names as n
from slackwater.model.errors import QuestionError
from slackwater.model.season import Season
from tests.model.seasons import season, table


def test_one_athlete_or_too_many_are_refused() -> None:
    for count in (1, MOST_ATHLETES + 1):
        with pytest.raises(QuestionError, match=f"not {count}"):
            fit_jointly([season()] * count)


def test_a_season_in_which_recovery_may_change_is_refused() -> None:
    dates = pd.date_range("2031-03-01", periods=400)
    readings = pd.DataFrame({"date": dates, "rmssd_ms": np.full(400, 60.0)})
    long = Season.from_tables("years", readings, sessions=table("sessions"))
    with pytest.raises(QuestionError, match="years is longer than half a year"):
        fit_jointly([season(), long])


def test_chains_agree_and_the_same_seed_draws_the_same() -> None:
    """Three athletes, whose draws are their own: each has the readings' noise."""
    seasons = [season(), season(), season(readings=_noisier())]
    joint = fit_jointly(seasons, seed=3, draws=150, tune=100, chains=2)
    assert joint.checks.draws == 300
    assert joint.checks.divergences <= 3
    assert joint.checks.worst_rhat < 1.2
    first = fit_jointly(seasons, seed=3, draws=150, tune=100, chains=1)
    for both, one in zip(joint.pooled.athletes, first.pooled.athletes, strict=True):
        np.testing.assert_array_equal(both.values[:150], one.values)
    calm, same, noisy = (
        float(np.median(each.column(n.NOISE_SD))) for each in joint.pooled.athletes
    )
    assert noisy > max(calm, same)
    assert joint.pooled.population.athletes == 3
    assert joint.pooled.athletes[0].typical_days("row intervals").shape == (300,)


def _noisier() -> pd.DataFrame:
    read = table("readings")
    middle = np.log(read["rmssd_ms"]).mean()
    return read.assign(rmssd_ms=np.exp(middle + 2 * (np.log(read["rmssd_ms"]) - middle)))
