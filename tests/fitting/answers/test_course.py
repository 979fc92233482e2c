"""The course of a season, by hand and on the demo season."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, baseline, course
from slackwater.fitting.answers.course import Course, SessionDone
from slackwater.fitting.answers.intervals import interval_of
from slackwater.model.season import Season
from tests.demo_season import demo_season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior

CERTAIN = Known({"row": (0.3, 2.0)}, noise_sd=1e-4, drift_sd=0.02)  # readings say all outright
EXACT = 0.001  # what such readings leave open, relative


def asked(season: Season, known: Known = CERTAIN, **more: Any) -> Course:
    return course(Athlete(season, whole_posterior(season, known, **more)))


def test_state_is_baseline_minus_the_dips() -> None:
    level = np.linspace(4.0, 4.2, 30)
    dip = np.r_[np.zeros(21), 0.3 * 0.5 ** (np.arange(9) / 2)]
    season = by_hand.season(sessions=[(20, "row")], readings=level - dip)
    answer = asked(season, CERTAIN._replace(level=4.2))
    middle = answer.nights.sel(bound="median")
    assert middle["baseline_ms"].values == pytest.approx(np.exp(level), rel=EXACT)
    assert middle["state_ms"].values == pytest.approx(np.exp(level - dip), rel=EXACT)
    assert answer.nights["rmssd_ms"].values == pytest.approx(np.exp(level - dip))
    assert "same_sensor_rmssd_ms" not in answer.nights
    assert answer.sessions == (SessionDone(np.datetime64("2031-03-21"), "row"),)


def test_readings_of_another_sensor_are_also_told_on_the_scale_of_the_latest() -> None:
    readings = np.full(30, 4.0)
    readings[:15] += 0.1
    season = by_hand.season(readings=readings, sensors=["clip"] * 15 + ["strap"] * 15)
    answer = asked(season, Known(noise_sd=1e-4, drift_sd=0.02, sensor_steps={"clip": 0.1}))
    assert answer.nights["rmssd_ms"].values == pytest.approx(np.exp(readings))
    assert answer.nights["same_sensor_rmssd_ms"].values == pytest.approx(np.exp(4.0))
    assert answer.nights["state_ms"].sel(bound="median").values == pytest.approx(
        np.exp(4.0), rel=EXACT
    )


def test_a_night_not_read_has_a_state_and_no_reading() -> None:
    readings = np.full(30, 4.0)
    readings[10] = np.nan
    answer = asked(by_hand.season(readings=readings), CERTAIN._replace(types={}))
    found = answer.nights.isel(night=10)
    assert np.isnan(float(found["rmssd_ms"]))
    state = interval_of(found["state_ms"])
    assert state.low < np.exp(4.0) < state.high


def test_mornings_since_the_fit_are_part_of_it() -> None:
    fitted = by_hand.season(30)
    known = Known(noise_sd=np.linspace(0.08, 0.12, 400), drift_sd=0.02)
    later = by_hand.season(readings=[*np.full(30, 4.0), 4.1, np.nan, 4.05])
    answer = course(Athlete(later, whole_posterior(fitted, known)))
    assert answer.nights.sizes["night"] == 33
    assert answer.nights["rmssd_ms"].values[30:] == pytest.approx(
        np.exp([4.1, np.nan, 4.05]), nan_ok=True
    )
    assert np.isfinite(answer.nights["state_ms"].values).all()


def test_the_last_night_agrees_with_baseline(demo_athlete: Athlete) -> None:
    found = course(demo_athlete).nights["baseline_ms"].isel(night=-1).values
    # 4,000 draws of one distribution either way; an interval's ends by 2 % of its width or so.
    assert found == pytest.approx(baseline(demo_athlete).baseline_rmssd_ms, abs=0.5)


def test_the_true_baseline_lies_in_its_range(demo_athlete: Athlete) -> None:
    """Of 182 nights, which hang together: the 80 % ranges must hold half at the least."""
    truth = np.exp(demo_season().baseline)
    found = course(demo_athlete).nights["baseline_ms"]
    inside = (truth >= found.sel(bound="low")) & (truth <= found.sel(bound="high"))
    assert float(inside.mean()) > 0.5
