"""Simulated seasons follow the equations, by a loop written apart from the model."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2

from slackwater.model import names as n
from slackwater.model.season import Season
from slackwater.model.simulator import Impulse, Simulated, Truth, plan_season, simulate
from tests.model.seasons import MISSED, NIGHTS, season, table

TRUTH: Final = Truth(
    baseline_ms=62.0,
    types={
        "easy paddle": Impulse(0.05, 0.8),
        "row intervals": Impulse(0.26, 1.2),
        "heavy lifting": Impulse(0.22, 1.8),
    },
    start=Impulse(0.2, 2.5),
    stressors={"head cold": Impulse(0.18, 1.5)},
    rate_ratios={"river dip": 1.6, "beet juice": 0.8},
    lifts={"river dip": 0.05},
    sensor_steps={"finger clip": 0.08},
)
DAY: Final = pd.Timedelta(days=1)
STILL: Final = replace(TRUTH, session_sd=0.0, noise_sd=0.0, drift_sd=0.0)


def plan() -> Season:
    return plan_season(
        "plan",
        table("readings").drop(columns="rmssd_ms"),
        table("sessions"),
        table("types"),
        table("interventions"),
        table("stressors"),
    )


def simulated(truth: Truth, seed: int = 7) -> Simulated:
    return simulate(truth, plan(), np.random.default_rng(seed))


def speed_into(date: pd.Timestamp) -> float:
    """What the measures of the day before make of the night that ends on this date."""
    log = table("interventions")
    measures = log["intervention"][log["date"] == date - DAY]
    return math.prod(TRUTH.rate_ratios[str(m)] for m in measures)


def dip_by_hand(date: pd.Timestamp, speed: dict[pd.Timestamp, float]) -> float:
    """Sum what is left of all that is felt by this date, night by night."""

    def left(impulse: Impulse, size: float, felt: pd.Timestamp) -> float:
        while felt < date:
            felt += DAY
            size *= 0.5 ** (speed[felt] / impulse.half_life_days)
        return size if felt == date else 0.0

    total = left(TRUTH.start, TRUTH.start.dip, NIGHTS[0])
    sessions = table("sessions").fillna({"dose": 1.0})
    for day, name, dose in zip(sessions["date"], sessions["type"], sessions["dose"], strict=True):
        total += left(TRUTH.types[name], dose * TRUTH.types[name].dip, day + DAY)
    stressors = table("stressors")
    for day, name in zip(stressors["date"], stressors["stressor"], strict=True):
        total += left(TRUTH.stressors[name], TRUTH.stressors[name].dip, day + DAY)
    return total


def test_without_chance_it_is_the_equations() -> None:
    made = simulated(STILL)
    speed = {date: speed_into(date) for date in NIGHTS}
    expected = np.array([dip_by_hand(date, speed) for date in NIGHTS])
    np.testing.assert_allclose(made.dip, expected, rtol=1e-12)
    np.testing.assert_allclose(made.baseline, np.log(62.0), rtol=1e-12)
    clip = np.arange(len(NIGHTS)) < 9
    log = table("interventions")
    dipped = NIGHTS.isin(log["date"][log["intervention"] == "river dip"] + DAY)
    readings = np.log(62.0) - expected + np.where(clip, 0.08, 0.0) + np.where(dipped, 0.05, 0.0)
    readings[MISSED] = np.nan
    np.testing.assert_allclose(made.season.data[n.LOG_RMSSD], readings, rtol=1e-12)


def test_a_first_night_may_hold_back_a_part() -> None:
    """What decays is the dip over the share that shows; the first reading shows the dip."""
    made = simulated(replace(STILL, first_night=0.5))
    whole = simulated(STILL)
    np.testing.assert_allclose(made.dip[2] - whole.dip[2], 0.26, rtol=1e-12)  # first felt
    at = n.LOG_RMSSD
    assert made.season.data[at][2].item() == pytest.approx(whole.season.data[at][2].item())
    assert made.season.data[at][3].item() < whole.season.data[at][3].item()
    held = replace(TRUTH, first_night=0.5).typical_days()["row intervals"]
    assert held == pytest.approx(TRUTH.typical_days()["row intervals"] + 1.2, rel=1e-12)


def test_the_start_is_as_given_and_sessions_scatter() -> None:
    scattered = simulated(replace(STILL, session_sd=0.5))
    assert scattered.dip[0] == pytest.approx(TRUTH.start.dip, rel=1e-12)
    assert abs(scattered.dip[2] / simulated(STILL).dip[2] - 1) > 0.01


def test_the_same_seed_gives_the_same_season() -> None:
    one, same, other = simulated(TRUTH, 7), simulated(TRUTH, 7), simulated(TRUTH, 8)
    assert one.season.fingerprint() == same.season.fingerprint()
    np.testing.assert_array_equal(one.dip, same.dip)
    assert one.season.fingerprint() != other.season.fingerprint()


def test_all_but_the_readings_is_as_planned() -> None:
    made = simulated(TRUTH).season
    assert made.with_readings(season().data[n.LOG_RMSSD].values).fingerprint() == (
        season().fingerprint()
    )
    assert np.flatnonzero(~made.read).tolist() == MISSED


def test_missing_truth_is_not_made_up() -> None:
    with pytest.raises(KeyError, match="head cold"):
        simulated(replace(TRUTH, stressors={}))


def test_typical_days() -> None:
    """Threshold 0.06, half of the noise: 0.24 falls to it in two half-lives."""
    truth = Truth(
        baseline_ms=60.0,
        types={"hill run": Impulse(0.24, 1.5), "easy paddle": Impulse(0.05, 0.8)},
        noise_sd=0.12,
    )
    days = truth.typical_days()
    assert days["hill run"] == pytest.approx(1 + 2 * 1.5, rel=1e-12)
    assert days["easy paddle"] == 1.0


NIGHT_COUNT: Final = 4000


@pytest.fixture(scope="module")
def long() -> Simulated:
    dates = pd.date_range("2020-01-01", periods=NIGHT_COUNT)
    logged = pd.DataFrame({"date": dates[:-1], "type": "hill run"})
    truth = Truth(
        baseline_ms=60.0,
        types={"hill run": Impulse(0.2, 1.0)},
        noise_sd=0.1,
        noise_tail=1.5,
        drift_sd=0.01,
        session_sd=0.3,
        start=Impulse(0.05, 1.0),
    )
    rng = np.random.default_rng(sum(map(ord, "long")))
    return simulate(truth, plan_season("long", pd.DataFrame({"date": dates}), logged), rng)


def assert_variance(draws: NDArray[np.float64], expected: float) -> None:
    """Normal draws: the ratio is chi-squared. Two-sided, once in 10,000 seeds by chance."""
    low, high = chi2.ppf([5e-5, 1 - 5e-5], len(draws) - 1) / (len(draws) - 1)
    assert low < np.var(draws, ddof=1) / expected < high


def test_chance_has_the_sizes_it_is_given(long: Simulated) -> None:
    assert_variance(np.diff(long.baseline), 0.01**2)
    fresh = long.dip[1:] - 0.5 * long.dip[:-1]  # each night's own session
    assert_variance(np.log(fresh / 0.2), 0.3**2)
    noise = long.season.data[n.LOG_RMSSD].values - long.baseline + long.dip
    # A squared standard normal has a log of mean -gamma - ln 2 and variance pi^2 / 2, and a
    # fourth cumulant of pi^4; the tail adds a normal of SD 1.5 to the log.
    log_square = np.log((noise / 0.1) ** 2)
    variance = np.pi**2 / 2 + 1.5**2
    assert abs(log_square.mean() + np.euler_gamma + np.log(2)) < 4 * np.sqrt(variance / NIGHT_COUNT)
    error = np.sqrt((np.pi**4 + 2 * variance**2) / NIGHT_COUNT)
    assert abs(log_square.var() - variance) < 4 * error


def test_what_no_reading_shows_yet_stays_in_the_log_and_is_not_felt() -> None:
    last = table("readings")["date"].max()
    later = pd.DataFrame({"date": [last, last + DAY], "type": ["heavy lifting", "river swim"]})
    sessions = pd.concat([table("sessions"), later.assign(dose=1.0)], ignore_index=True)
    others = [table(name) for name in ("types", "interventions", "stressors")]
    nights = table("readings").drop(columns="rmssd_ms")
    ahead = plan_season("plan", nights, sessions, *others)
    made = simulate(TRUTH, ahead, np.random.default_rng(7))
    assert made.season.data.sizes[n.SESSION] == plan().data.sizes[n.SESSION] + 2
    assert made.dip == pytest.approx(simulated(TRUTH).dip)
    readings = made.season.data[n.LOG_RMSSD].values
    assert readings == pytest.approx(simulated(TRUTH).season.data[n.LOG_RMSSD].values, nan_ok=True)


def test_the_function_is_found_by_its_name_whatever_was_imported_before() -> None:
    import slackwater.model

    assert slackwater.model.simulate is simulate
    assert slackwater.model.plan_season is plan_season


def test_days_count_the_dip_that_decays_whatever_more_the_first_night_shows() -> None:
    """A part that passes within the day: the first reading lies over the threshold of 0.05."""
    passing = Truth(60.0, {"row": Impulse(0.07, 1.0)}, noise_sd=0.1, first_night=1.5)
    assert passing.typical_days()["row"] == 1.0
    page = (Path(__file__).parents[2] / "docs" / "model.md").read_text(encoding="utf-8")
    assert "its reading may lie over the threshold although the session counts as 1 day" in page
