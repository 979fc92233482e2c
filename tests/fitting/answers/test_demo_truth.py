"""The demo season's answers against what the season was made from."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from slackwater.fitting import Athlete, recovery
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from tests import demo_season
from tests.fitting.conftest import Fitted

Floats = NDArray[np.float64]

FILES = [item for item in files("slackwater.demo_data").iterdir() if "." in item.name]
LEVEL = 0.8


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    text = (files("slackwater.demo_data") / "truth.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def compared(now: Standing, demo: Fitted, truth: dict[str, Any]) -> dict[str, tuple[float, Floats]]:
    """Return each true value with its draws."""
    found: dict[str, tuple[float, Floats]] = {}
    draws = demo.posterior.draws

    def column(name: str, dim: str, label: str) -> Floats:
        return np.asarray(draws[name].sel({dim: label}).values)

    days = typical_days(now)
    for place, (name, impulse) in enumerate(truth["types"].items()):
        assert demo.season.types[place] == name
        found[f"dip of {name}"] = impulse["dip"], np.exp(column(n.TYPE_LOG_DIP, n.TYPE, name))
        half_life = np.log(2) / np.exp(column(n.TYPE_LOG_RATE, n.TYPE, name))
        found[f"half-life of {name}"] = impulse["half_life_days"], half_life
        found[f"days of {name}"] = truth["typical_days"][name], days[:, place]
    for name, ratio in truth["rate_ratios"].items():
        found[f"ratio of {name}"] = ratio, np.exp(column(n.LOG_RATE_RATIO, n.INTERVENTION, name))
    for name, lift in truth["lifts"].items():
        found[f"lift of {name}"] = lift, column(n.LIFT, n.INTERVENTION, name)
    for name, step in truth["sensor_steps"].items():
        found[f"step of {name}"] = step, column(n.SENSOR_STEP, n.OTHER_SENSOR, name)
    for name, impulse in truth["stressors"].items():
        found[f"dip of {name}"] = (
            impulse["dip"],
            np.exp(column(n.STRESSOR_LOG_DIP, n.STRESSOR, name)),
        )
    found["start dip"] = truth["start"]["dip"], draws[n.START_DIP].values
    for name in (n.NOISE_SD, n.NOISE_TAIL, n.DRIFT_SD, n.SESSION_SD):
        found[name] = truth[name], draws[name].values
    found[n.FIRST_NIGHT] = demo_season.TRUTH.first_night, draws[n.FIRST_NIGHT].values
    found["baseline"] = np.log(truth["baseline_rmssd_ms_on_last_night"]), now.baseline
    found["dip left"] = truth["dip_left_ln_on_last_night"], now.dips.sum(axis=1)
    return found


def covered(values: dict[str, tuple[float, Floats]]) -> dict[str, bool]:
    tail = (1 - LEVEL) / 2
    return {
        name: bool(np.quantile(draws, tail) <= true <= np.quantile(draws, 1 - tail))
        for name, (true, draws) in values.items()
    }


def fewest(count: int) -> int:
    """Return how many of so many intervals hold the truth at least, but once in 1,000 times.

    As if they were independent. They are not quite: a type's dip, half-life and days go together,
    which widens the spread, so this is on the strict side.
    """
    return int(stats.binom(count, LEVEL).ppf(0.001))


def test_intervals_hold_the_truth_as_often_as_they_say(
    demo: Fitted, demo_athlete: Athlete, truth: dict[str, Any]
) -> None:
    held = covered(compared(demo_athlete.now, demo, truth))
    missed = [name for name, inside in held.items() if not inside]
    assert len(held) == 29
    assert sum(held.values()) >= fewest(len(held)), missed


def test_draws_of_another_type_would_not(
    demo: Fitted, demo_athlete: Athlete, truth: dict[str, Any]
) -> None:
    # The true dip and days of each type against the draws of the next: the check must notice.
    values = compared(demo_athlete.now, demo, truth)
    turned = {}
    for name, following in zip(demo.season.types, np.roll(demo.season.types, -1), strict=True):
        for what in ("dip", "days"):
            draws = values[f"{what} of {following}"][1]
            turned[f"{what} of {name}"] = values[f"{what} of {name}"][0], draws
    assert sum(covered(turned).values()) < fewest(len(turned))


def test_the_answer_names_the_slow_types_slow(demo_athlete: Athlete, truth: dict[str, Any]) -> None:
    days = recovery(demo_athlete).types["typical_days"].sel(bound="median")
    slow, quick = ("hill run", "heavy lifting", "row intervals"), ("easy paddle", "steady row")
    assert min(float(days.sel(type=t)) for t in slow) > max(float(days.sel(type=t)) for t in quick)
    assert all(truth["typical_days"][t] > 3.5 for t in slow)


@pytest.mark.parametrize("file", FILES, ids=lambda item: item.name)
def test_the_recipe_still_makes_the_shipped_season(file: Any, tmp_path: Path) -> None:
    demo_season.write(tmp_path)
    if (tmp_path / file.name).read_bytes() != file.read_bytes():
        pytest.fail(
            f"tests/demo_season.py no longer makes demo_data/{file.name}, byte for byte. If NumPy "
            f"{np.__version__} draws other random numbers, or the recipe was changed on purpose, "
            "run `python tests/demo_season.py`, look at the difference and commit it; README.md "
            "shows answers from this season."
        )


def test_no_other_file_is_shipped(tmp_path: Path) -> None:
    demo_season.write(tmp_path)
    assert {item.name for item in FILES} == {path.name for path in tmp_path.iterdir()}
