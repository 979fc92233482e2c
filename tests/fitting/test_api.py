"""The public names of `slackwater.fitting`: all there, documented, and loaded when first used."""

from __future__ import annotations

import inspect
import subprocess
import sys
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

import slackwater.fitting as api
from slackwater.fitting.demo import copy_demo
from slackwater.model.errors import QuestionError
from tests.fitting.conftest import Fitted

PROMISED = {
    *("check_season", "read_season", "fit", "Posterior", "standing", "Standing"),
    *("recovery", "baseline", "forecast", "planned_session"),
    *("compare_intervention", "compare_types", "compare_attribute"),
}
WITH_ARGUMENTS = [
    name
    for name in api.__all__
    if inspect.isfunction(getattr(api, name))
    and "\nArgs:\n" in (inspect.getdoc(getattr(api, name)) or "")
]


def test_the_promised_names_are_exported_in_order() -> None:
    assert set(api.__all__) >= PROMISED
    assert sorted(api.__all__) == api.__all__
    assert len(set(api.__all__)) == len(api.__all__)


@pytest.mark.parametrize("name", api.__all__)
def test_each_exported_name_can_be_imported_and_has_a_docstring(name: str) -> None:
    found = getattr(api, name)
    assert found.__name__ == name
    assert inspect.getdoc(found)


@pytest.mark.parametrize("name", WITH_ARGUMENTS)
def test_documented_arguments_are_those_of_the_signature(name: str) -> None:
    function: Callable[..., Any] = getattr(api, name)
    section = (inspect.getdoc(function) or "").split("\nArgs:\n")[1].split("\n\n")[0]
    lines = [line.strip(" *") for line in section.splitlines() if line[4:5] != " "]
    documented = [line.split(":")[0] for line in lines]
    assert documented == list(inspect.signature(function).parameters)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match=r"'slackwater\.fitting' has no attribute 'score'"):
        api.score  # noqa: B018


def test_importing_the_package_loads_nothing_heavy() -> None:
    script = """
import sys, slackwater.fitting
from slackwater.fitting import read_season, standing, recovery
heavy = {"pymc", "pytensor", "numba", "nutpie", "arviz", "arviz_stats", "rich", "click"}
print(sorted(heavy & set(sys.modules)))
"""
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (ran.stdout, ran.stderr) == ("[]\n", "")


def test_the_packages_own_example_runs(demo: Fitted) -> None:
    example = inspect.getdoc(api) or ""
    for line in ("standing(season, posterior)", 'forecast(now, nights=3)["rmssd_ms"]'):
        assert line in example
    season = api.read_season(demo.folder)
    now = api.standing(season, api.Posterior.load(demo.folder))
    assert api.recovery(now)["typical_days"].dims == ("type", "bound")
    assert api.forecast(now, nights=3)["rmssd_ms"].dims == ("night", "bound")


def test_answers_are_datasets_that_say_their_conditions(demo_now: api.Standing) -> None:
    answers: list[xr.Dataset] = [
        api.recovery(demo_now),
        api.baseline(demo_now),
        api.forecast(demo_now),
        api.compare_intervention(demo_now, "river dip"),
        api.compare_types(demo_now, "hill run", "steady row"),
        api.compare_attribute(demo_now, "effort", "hard", "easy"),
    ]
    for answer in answers:
        conditions = {"question", "schema", "season", "last_night", "level", "warnings"}
        assert conditions <= set(answer.attrs)
        assert answer.attrs["level"] == 0.8
    assert len({answer.attrs["question"] for answer in answers}) == len(answers)


@pytest.mark.parametrize("ask", [api.recovery, api.baseline, api.forecast])
def test_each_answer_takes_a_level_and_refuses_what_is_none(
    demo_now: api.Standing, ask: Callable[..., xr.Dataset]
) -> None:
    assert ask(demo_now, level=0.5).attrs["level"] == 0.5
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        ask(demo_now, level=50)


def test_answers_leave_the_state_as_it_was(demo_now: api.Standing) -> None:
    before = demo_now.dips.copy(), demo_now.level_mean.copy(), demo_now.draws.copy(deep=True)
    api.recovery(demo_now)
    api.baseline(demo_now)
    api.forecast(demo_now, nights=10)
    np.testing.assert_array_equal(demo_now.dips, before[0])
    np.testing.assert_array_equal(demo_now.level_mean, before[1])
    assert demo_now.draws.identical(before[2])


def test_the_demo_copies_the_season_and_not_its_truth(tmp_path: Path) -> None:
    copy_demo(tmp_path / "a" / "b")
    copied = {path.name: path.read_bytes() for path in (tmp_path / "a" / "b").iterdir()}
    names = {"readings.csv", "sessions.csv", "types.csv", "interventions.csv", "stressors.csv"}
    assert set(copied) == names
    for name, content in copied.items():
        assert content == (files("slackwater.demo_data") / name).read_bytes()
