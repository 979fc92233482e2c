"""The course of a season, by hand and on the demo season."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
import xarray as xr
from rich.console import Console

from slackwater.fitting import Standing, baseline, course
from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.model.season import Season
from tests.demo_season import demo_season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted

CERTAIN = Known({"row": (0.3, 2.0)}, noise_sd=1e-4, drift_sd=0.02)  # readings say all outright
EXACT = 0.001  # what such readings leave open, relative


def asked(season: Season, known: Known = CERTAIN, **more: Any) -> xr.Dataset:
    return course(season, whole_posterior(season, known, **more))


def printed(answer: xr.Dataset) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), answer)
    return screen.getvalue()


def test_state_is_baseline_minus_the_dips() -> None:
    level = np.linspace(4.0, 4.2, 30)
    dip = np.r_[np.zeros(21), 0.3 * 0.5 ** (np.arange(9) / 2)]
    answer = asked(by_hand.season(sessions=[(20, "row")], readings=level - dip))
    middle = answer.sel(bound="median")
    assert middle["baseline_ms"].values == pytest.approx(np.exp(level), rel=EXACT)
    assert middle["state_ms"].values == pytest.approx(np.exp(level - dip), rel=EXACT)
    assert answer["rmssd_ms"].values == pytest.approx(np.exp(level - dip))
    assert "same_sensor_rmssd_ms" not in answer
    assert [str(d)[:10] for d in answer["session_date"].values] == ["2031-03-21"]
    assert answer["session_type"].values.tolist() == ["row"]


def test_readings_of_another_sensor_are_also_told_on_the_scale_of_the_latest() -> None:
    readings = np.full(30, 4.0)
    readings[:15] += 0.1
    season = by_hand.season(readings=readings, sensors=["clip"] * 15 + ["strap"] * 15)
    answer = asked(season, Known(noise_sd=1e-4, drift_sd=0.02, sensor_steps={"clip": 0.1}))
    assert answer["rmssd_ms"].values == pytest.approx(np.exp(readings))
    assert answer["same_sensor_rmssd_ms"].values == pytest.approx(np.exp(4.0))
    assert answer["state_ms"].sel(bound="median").values == pytest.approx(np.exp(4.0), rel=EXACT)
    assert as_object(answer)["nights"][0]["same_sensor_rmssd_ms"] == pytest.approx(np.exp(4.0))


def test_a_night_not_read_has_a_state_and_no_reading() -> None:
    readings = np.full(30, 4.0)
    readings[10] = np.nan
    answer = asked(by_hand.season(readings=readings), CERTAIN._replace(types={}))
    found = as_object(answer)["nights"][10]
    assert found["rmssd_ms"] is None
    assert found["state_ms"]["low"] < np.exp(4.0) < found["state_ms"]["high"]


def test_mornings_since_the_fit_are_part_of_it() -> None:
    fitted = by_hand.season(30)
    known = Known(noise_sd=np.linspace(0.08, 0.12, 400), drift_sd=0.02)
    later = by_hand.season(readings=[*np.full(30, 4.0), 4.1, np.nan, 4.05])
    answer = course(later, whole_posterior(fitted, known))
    assert answer.sizes["night"] == 33
    assert answer["rmssd_ms"].values[30:] == pytest.approx(np.exp([4.1, np.nan, 4.05]), nan_ok=True)
    assert np.isfinite(answer["state_ms"].values).all()


def test_the_last_night_agrees_with_baseline(demo: Fitted, demo_now: Standing) -> None:
    found = course(demo.season, demo.posterior)["baseline_ms"].isel(night=-1).values
    # 4,000 draws of one distribution either way; an interval's ends by 2 % of its width or so.
    assert found == pytest.approx(baseline(demo_now)["baseline_rmssd_ms"].values, abs=0.5)


def test_the_true_baseline_lies_in_its_range(demo: Fitted) -> None:
    """Of 182 nights, which hang together: the 80 % ranges must hold half at the least."""
    truth = np.exp(demo_season().baseline)
    found = course(demo.season, demo.posterior)["baseline_ms"]
    inside = (truth >= found.sel(bound="low")) & (truth <= found.sel(bound="high"))
    assert float(inside.mean()) > 0.5


def test_text_and_json(demo: Fitted) -> None:
    answer = course(demo.season, demo.posterior)
    found = as_object(answer)
    assert len(found["nights"]) == 182
    assert found["sessions"][-1] == {"date": "2031-07-03", "type": "row intervals"}
    shown = printed(answer)
    assert max(map(len, shown.splitlines())) <= 80
    last = found["nights"][-1]
    state = last["state_ms"]
    told = f"{state['median']:.0f} ms ({state['low']:.0f} to {state['high']:.0f})"
    (line,) = [line for line in shown.splitlines() if line.startswith("2031-07-06")]
    assert told in line
    assert f"{last['rmssd_ms']:.0f} ms" in line
