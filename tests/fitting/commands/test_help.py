"""Help teaches: every command has examples that can be typed as they stand, in 80 columns."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import click
import pytest
from rich.cells import cell_len

from slackwater.fitting.cli import cli
from tests.fitting.conftest import run
from tests.fitting.report.terminal.printing import TECHNICAL


def commands(group: click.Group, above: str = "") -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield f"{above}{name}", command
        if isinstance(command, click.Group):
            yield from commands(command, f"{name} ")


COMMANDS = dict(commands(cli))
SINGLE = {name: c for name, c in COMMANDS.items() if not isinstance(c, click.Group)}


def examples(command: str) -> list[list[str]]:
    """Return the words of each example in a command's help, without "slackwater COMMAND"."""
    joined = run(*command.split(), "--help").out.replace("\\\n", " ")
    _, _, below = joined.partition("  Examples:\n")
    lines = below.split("\n\n")[0].splitlines()
    start = ["slackwater", *command.split()]
    words = [shlex.split(line) for line in lines]
    assert all(w[: len(start)] == start for w in words), f"{command}: {lines}"
    return [w[len(start) :] for w in words]


@pytest.mark.parametrize("command", SINGLE)
def test_each_command_has_two_or_three_examples_that_can_be_typed(command: str) -> None:
    shown = examples(command)
    assert 2 <= len(shown) <= 4
    for words in shown:
        SINGLE[command].make_context(command, words)  # fails for an option that there is not


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_holds_in_80_columns_and_cuts_nothing(command: str) -> None:
    shown = run(*command.split(), "--help").out
    assert all(cell_len(line) <= 80 for line in shown.splitlines())
    assert "..." not in shown.replace("[OPTIONS] COMMAND [ARGS]...", "")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_needs_no_statistician(command: str) -> None:
    assert not TECHNICAL.search(run(*command.split(), "--help").out)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_worded_alike(command: str) -> None:
    first = (COMMANDS[command].help or "").splitlines()[0]
    assert first[0].isupper()
    assert first.endswith(".")
    for parameter in COMMANDS[command].params:
        if isinstance(parameter, click.Option) and parameter.name != "help":
            assert parameter.help, f"{command} {parameter.opts}"
            assert parameter.help[0].isupper()
            assert parameter.help.endswith(".")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (["recover", "x"], "recovery"),
        (["trial", "legder", "x"], "ledger"),
        (["forecast", "x", "--nigths", "3"], "--nights"),
        (["trial", "plan", "x", "--mesure", "ice"], "--measure"),
    ],
)
def test_a_misspelt_command_or_option_is_told_its_like(typed: list[str], meant: str) -> None:
    ran = run(*typed)
    assert ran.status == 2
    assert re.search(rf"Did you mean (one of: )?.*'{meant}'", ran.err)
