"""The table of questions: everything it names is there, and the command line is made from it."""

from __future__ import annotations

import inspect
from itertools import groupby
from typing import Any

import click
import pytest

from slackwater.fitting import recovery
from slackwater.fitting.cli import cli
from slackwater.fitting.commands import asking
from slackwater.fitting.questions import QUESTIONS, Kind, Parameter, Question, load, question, words

TOGETHER = (Kind.TYPES, Kind.VALUES)  # whose values are the function's first arguments
WORDS = [word for word, _ in groupby(row.word for row in QUESTIONS if row.word)]
WITH_PARAMETERS = [row for row in QUESTIONS if row.word]


def name_of(row: Question) -> str:
    return row.name


@pytest.mark.parametrize("row", QUESTIONS, ids=name_of)
def test_what_a_row_names_can_be_loaded(row: Question) -> None:
    asked, told = load(row.asked), load(row.told)
    assert inspect.isfunction(asked)
    assert inspect.isfunction(told)
    assert "level" in inspect.signature(asked).parameters
    assert len(inspect.signature(told).parameters) >= 1


def test_names_are_told_apart() -> None:
    names = [row.name for row in QUESTIONS]
    assert len(set(names)) == len(names)
    assert len({row.asked for row in QUESTIONS}) == len(QUESTIONS)
    assert all(question(name) is row for name, row in zip(names, QUESTIONS, strict=True))


def test_a_question_that_there_is_not_is_none() -> None:
    with pytest.raises(StopIteration):
        question("score")


def test_a_row_asks_and_tells_with_what_it_names(monkeypatch: pytest.MonkeyPatch) -> None:
    assert load("answers.recovery:recovery") is recovery

    def ask(*given: Any, **options: Any) -> str:
        return f"{given} {options}"

    there = {"a.b:ask": ask, "a.b:tell": str.upper}
    monkeypatch.setattr("slackwater.fitting.questions.load", there.__getitem__)
    row = Question("x", "a.b:ask", "a.b:tell")
    assert row.tell(row.ask("athlete", level=0.5)) == "('ATHLETE',) {'LEVEL': 0.5}"


def test_rows_of_one_word_stand_together_and_the_first_tells_of_them_all() -> None:
    assert len(set(WORDS)) == len(WORDS)
    for _, alike in groupby(WITH_PARAMETERS, key=lambda row: row.word):
        rows = list(alike)
        assert rows[0].tells
        for row in rows[1:]:
            assert (row.tells, row.short, row.more) == ("", "", "")  # nobody would see them
        if len(rows) > 1:  # told apart by the option that is given
            assert all(p.needed for row in rows for p in row.parameters)
            assert all(row.parameters for row in rows)


@pytest.mark.parametrize("row", QUESTIONS, ids=name_of)
def test_parameters_are_arguments_of_the_function(row: Question) -> None:
    arguments = inspect.signature(load(row.asked)).parameters
    for parameter in row.parameters:
        assert parameter.help.endswith(".")
        if parameter.kind in TOGETHER:
            continue
        assert parameter.name in arguments
        if not parameter.needed and parameter.kind is not Kind.PLANNED:
            assert parameter.default == arguments[parameter.name].default
    for parameter in row.parameters:
        if parameter.kind in TOGETHER:
            first = list(arguments.values())[1 : 3 if parameter.kind is Kind.TYPES else 4]
            assert all(a.default is inspect.Parameter.empty for a in first)


@pytest.mark.parametrize("row", WITH_PARAMETERS, ids=name_of)
def test_examples_use_the_parameters_that_there_are(row: Question) -> None:
    known = {p.name for p in row.parameters} | {"level", "json"}
    for example in row.examples:
        assert set(example) <= known
        assert {p.name for p in row.parameters if p.needed} <= set(example)


def test_what_a_parameter_is_called_is_its_name_or_how_it_is_spelled() -> None:
    assert Parameter("since", Kind.DATE, "A day.").called == "since"
    assert Parameter("since", Kind.DATE, "A day.", spelled="from").called == "from"


def test_the_command_lines_questions_are_the_tables() -> None:
    assert words() == WORDS
    for command in map(asking.command, words()):
        assert command.name in cli.list_commands(click.Context(cli))
        rows = [row for row in QUESTIONS if row.word == command.name]
        options = {
            option.removeprefix("--")
            for parameter in command.params
            if isinstance(parameter, click.Option)
            for option in parameter.opts
        }
        spelled = {p.called for row in rows for p in row.parameters}
        assert options == spelled | {"json", "level", "explain-terms", "details"}


@pytest.mark.parametrize("word", WORDS)
def test_a_commands_help_is_the_rows(word: str) -> None:
    row = next(row for row in QUESTIONS if row.word == word)
    command = asking.command(word)
    assert (command.help or "").startswith(row.tells)
    assert command.short_help == (row.short or row.tells)


def test_words_of_other_commands_are_not_the_tables() -> None:
    others = set(cli.list_commands(click.Context(cli))) - set(WORDS)
    assert others == {
        "beats", "demo", "check", "fit", "import", "log", "open", "report", "squad", "trial",
        "spacing",
    }  # fmt: skip
