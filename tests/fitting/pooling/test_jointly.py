"""What cannot be fitted jointly is refused before anything is compiled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting.pooling.jointly import MOST_ATHLETES, fit_jointly
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
