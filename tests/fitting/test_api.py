"""The public names of `slackwater.fitting`: all there, documented, and loaded when first used."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from collections.abc import Callable
from dataclasses import FrozenInstanceError, dataclass, is_dataclass
from importlib.resources import files
from pathlib import Path
from textwrap import dedent
from typing import Any

import numpy as np
import pytest

import slackwater.fitting as api
from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.questions import QUESTIONS, Question, load
from slackwater.model.errors import QuestionError, Reason

PROMISED = {
    *("check_season", "read_season", "fit", "Posterior", "Athlete", "SeasonFolder"),
    *("recovery", "baseline", "forecast", "PlannedSession"),
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


def test_the_names_are_those_of_the_stub() -> None:
    """Which type checkers and editors read, and the program itself where names are loaded."""
    stub = ast.parse((files("slackwater.fitting") / "__init__.pyi").read_text(encoding="utf-8"))
    listed: list[str] = []
    imported: dict[str, str] = {}
    for node in stub.body:
        if isinstance(node, ast.Assign):
            listed = ast.literal_eval(node.value)
        elif isinstance(node, ast.ImportFrom):
            home = f"slackwater.fitting.{node.module}"
            imported |= {alias.name: home for alias in node.names}
    assert sorted(imported) == sorted(listed) == api.__all__
    assert dir(api) == api.__all__
    for name, home in imported.items():
        assert getattr(api, name).__module__ == home


@pytest.mark.parametrize("row", QUESTIONS, ids=lambda row: row.name)
def test_each_question_is_exported_under_its_functions_name(row: Question) -> None:
    name = row.asked.partition(":")[2]
    assert getattr(api, name) is load(row.asked)


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
    with pytest.raises(AttributeError, match=r"No slackwater\.fitting attribute score"):
        getattr(api, "score")  # noqa: B009


def test_importing_the_package_loads_nothing_heavy() -> None:
    script = """
import sys, slackwater.fitting
from slackwater.fitting import Athlete, read_season, recovery
heavy = {"pymc", "pytensor", "numba", "nutpie", "arviz", "arviz_stats", "rich", "click"}
print(sorted(heavy & set(sys.modules)))
"""
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (ran.stdout, ran.stderr) == ("[]\n", "")


def test_the_packages_own_example_runs(demo_copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Line by line, but for the fit, which stands there already."""
    example = (inspect.getdoc(api) or "").split("\n\n")[1:3]
    lines = [line for block in example for line in dedent(block).splitlines()]
    assert len(lines) == 6
    monkeypatch.chdir(demo_copy.parent)
    (demo_copy.parent / "my-season").symlink_to(demo_copy)
    names = {name: getattr(api, name) for name in api.__all__}
    names["fit"] = lambda season: api.Posterior.load("my-season")
    for line in lines:
        if " = " in line.split("#")[0]:
            exec(line, names)
    shown = [eval(line, names) for line in lines if " = " not in line.split("#")[0]]
    assert len(shown) == 3


@dataclass(frozen=True)
class Asked:
    """A question asked of the demo season."""

    name: str
    given: tuple[object, ...] = ()


ASKED = (
    Asked("recovery"),
    Asked("baseline"),
    Asked("forecast"),
    Asked("compare_intervention", ("river dip",)),
    Asked("compare_types", ("hill run", "steady row")),
    Asked("compare_attribute", ("effort", "hard", "easy")),
)


@pytest.mark.parametrize("asked", ASKED, ids=lambda asked: asked.name)
def test_answers_are_facts_that_say_what_they_are_about(
    demo_athlete: api.Athlete, asked: Asked
) -> None:
    answer = getattr(api, asked.name)(demo_athlete, *asked.given)
    assert isinstance(answer, Answer)
    assert is_dataclass(answer)
    assert answer.about.season == "demo"
    assert answer.about.last_night == demo_athlete.now.night
    assert answer.about.level == 0.8
    assert all(isinstance(reason, Reason) for reason in answer.about.warnings)
    with pytest.raises(FrozenInstanceError):
        setattr(answer, "about", None)  # noqa: B010


@pytest.mark.parametrize("asked", ASKED, ids=lambda asked: asked.name)
def test_each_answer_takes_a_level_and_refuses_what_is_none(
    demo_athlete: api.Athlete, asked: Asked
) -> None:
    ask = getattr(api, asked.name)
    assert ask(demo_athlete, *asked.given, level=0.5).about.level == 0.5
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        ask(demo_athlete, *asked.given, level=50)


def test_answers_leave_the_state_as_it_was(demo_athlete: api.Athlete) -> None:
    now = demo_athlete.now
    before = (now.dips.copy(), now.level.mean[0].copy(), now.draws.copy(deep=True))
    for asked in ASKED:
        getattr(api, asked.name)(demo_athlete, *asked.given)
    assert demo_athlete.now is now
    np.testing.assert_array_equal(now.dips, before[0])
    np.testing.assert_array_equal(now.level.mean[0], before[1])
    assert now.draws.identical(before[2])


def test_the_demo_copies_the_season_and_not_its_truth(tmp_path: Path) -> None:
    copy_demo(tmp_path / "a" / "b")
    there = (tmp_path / "a" / "b").iterdir()
    copied = {path.name: path.read_bytes() for path in there if path.name != ".slackwater.lock"}
    names = {"readings.csv", "sessions.csv", "types.csv", "interventions.csv", "stressors.csv"}
    assert set(copied) == names
    for name, content in copied.items():
        assert content == (files("slackwater.demo_data") / name).read_bytes()
