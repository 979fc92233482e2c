"""What is typed: for each next step, and for each refusal that a command mends."""

from __future__ import annotations

import shlex
from pathlib import Path

import click
import pytest

from slackwater.fitting.cli import cli
from slackwater.fitting.commands.ways import _MENDS, _WAYS, mend, way
from slackwater.fitting.journey.next_step import RULES, NextStep, Where, next_step
from slackwater.fitting.report.reasons import SENTENCES
from slackwater.model.errors import Reason
from tests.fitting.journey.test_next_step import BEGUN, FASTER, FITTED, OPEN, OVER, PLANNED

FOLDER = Path("f")


def test_every_stage_has_a_way_and_none_is_left_over() -> None:
    assert set(_WAYS) == {stage for stage, _ in RULES}


def test_every_mend_is_of_a_known_reason() -> None:
    assert set(_MENDS) <= set(SENTENCES)


def command_of(line: str) -> tuple[click.Command, list[str]]:
    """Return the command that a line calls, and what stands behind its name."""
    name, *words = shlex.split(line)
    assert name == "slackwater"
    found: click.Command = cli
    while isinstance(found, click.Group):
        name = words.pop(0)
        command = found.get_command(click.Context(found), name)
        assert command is not None
        found = command
    return found, words


def _chosen(line: str) -> str:
    """Return a line with something in the place of what stands for the athlete's choice."""
    return line.replace("TYPE:COUNT", "row:2").replace("DAYS", "14").replace("NAME", "bath")


@pytest.mark.parametrize("stage", _WAYS)
def test_each_way_can_be_typed(stage: str) -> None:
    """Where a word in capitals stands for what the athlete chooses."""
    line = way(NextStep(stage, FASTER.facts()), FOLDER)
    command, words = command_of(_chosen(line))
    with command.make_context(command.name, words) as context:
        assert context.params["season"] == FOLDER


@pytest.mark.parametrize("code", _MENDS)
def test_each_mend_can_be_typed(code: str) -> None:
    line = mend(
        [
            Reason("something else"),
            Reason(code, file="x", labels=["row"], measure="nap", found_days=1.5),
        ],
        FOLDER,
    )
    assert line is not None
    command, words = command_of(_chosen(line))
    with command.make_context(command.name, words) as context:
        assert context.params["season"] == FOLDER


def test_what_no_command_mends_has_no_way() -> None:
    assert mend([Reason("no session shown")], FOLDER) is None
    assert mend([], FOLDER) is None


@pytest.mark.parametrize(
    ("at", "typed"),
    [
        (Where(begun=False), "check f"),
        (Where(problems=3), "check f"),
        (Where(readings=3), "washout f"),
        (Where(readings=3, sessions=1), "washout f"),
        (Where(readings=14), "fit f"),
        (Where(readings=14, fitted=True), "fit f"),
        (BEGUN, "washout f"),
        (BEGUN._replace(plateau=True), "fit f"),
        (FITTED._replace(fit_age=28), "fit f"),
        (FITTED._replace(asked="fit"), "recovery f"),
        (FITTED._replace(asked="recovery"), "repeats f"),
        (FITTED._replace(asked="repeats", attributes=True), "elements f"),
        (FITTED._replace(asked="repeats"), "spacing f --want row:2 --days 14 --keep"),
        (FITTED._replace(asked="elements", weeks=4), "fit f"),
        (FITTED._replace(asked="elements", rare="swim"), "fit f"),
        (FITTED._replace(asked="spacing"), "spacing f --want TYPE:COUNT --days DAYS --keep"),
        (PLANNED, "fit f"),
        (
            PLANNED._replace(overtaken=True, plan_left=(("hill run", 2), ("row", 1)), plan_days=9),
            "spacing f --want 'hill run:2' --want row:1 --days 9 --keep",
        ),
        (OVER._replace(fitted_until="2031-05-01"), "fit f"),
        (OVER, "spacing f --check"),
        (OVER._replace(asked="spacing check"), "trial plan f --measure NAME"),
        (OPEN, "trial today f"),
        (OPEN._replace(due=True), "trial analyse f"),
        (FASTER._replace(asked="trial analyse"), "trial ledger f"),
        (FASTER, "history f --from 2031-04-20"),
        (FASTER._replace(since_judged=14), "history f --from 2031-04-20"),
        (FASTER._replace(since_judged=14, asked="history"), "trial plan f --measure NAME"),
    ],
)
def test_what_is_typed_for_a_step(at: Where, typed: str) -> None:
    assert way(next_step(at), FOLDER) == f"slackwater {typed}"


def test_a_name_that_a_shell_would_take_apart_is_quoted() -> None:
    step = next_step(FITTED._replace(asked="repeats", plan_for="hill run; ls $HOME"))
    words = shlex.split(way(step, Path("my season's")))
    assert words[2:5] == ["my season's", "--want", "hill run; ls $HOME:2"]


def test_names_with_braces_are_typed_as_they_are() -> None:
    step = next_step(FITTED._replace(asked="repeats", plan_for="{folder}"))
    assert shlex.split(way(step, Path("{0}")))[2:5] == ["{0}", "--want", "{folder}:2"]
