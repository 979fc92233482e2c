"""The commands that ask a question and write nothing, made from the table of questions."""

from __future__ import annotations

import datetime as dt
import shlex
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import click

from slackwater.fitting.commands.completion import (
    Offer,
    complete_attribute,
    complete_dated_type,
    complete_intervention,
    complete_type,
)
from slackwater.fitting.commands.shared import answering, print_answer
from slackwater.fitting.questions import Kind, Parameter, Question, asked_by

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder


class _Form(NamedTuple):
    """How a kind of parameter is typed."""

    metavar: str
    options: Mapping[str, Any] = {}
    complete: Offer | None = None


_FORMS: Final = {
    Kind.WHOLE: _Form("INTEGER", {"type": int, "show_default": True}),
    Kind.DATE: _Form("DATE"),
    Kind.MORNING: _Form("DATE"),
    Kind.CHANCE: _Form("SHARE", {"type": float, "show_default": True}),
    Kind.TYPE: _Form("NAME", {}, complete_type),
    Kind.MEASURE: _Form("NAME", {}, complete_intervention),
    Kind.COLUMN: _Form("COLUMN", {}, complete_attribute),
    Kind.TYPES: _Form("A B", {"nargs": 2}, complete_type),
    Kind.VALUES: _Form("COLUMN A B", {"nargs": 3}, complete_attribute),
    Kind.PLANNED: _Form("DATE:TYPE", {"multiple": True}, complete_dated_type),
}


def command(word: str) -> click.Command:
    """Return the command that asks one question, or the one of several whose option is given.

    Args:
        word: the word of the questions.
    """
    rows = asked_by(word)

    def ask(season: SeasonFolder, as_json: bool, level: float, **given: Any) -> None:
        row = _asked(rows, given)
        positional, named = _arguments(row, season, given)
        answer = row.ask(season, *positional, level=level, **named)
        print_answer(row, answer, season, as_json)

    ask.__name__ = word
    ask.__doc__ = _help(word, rows)
    asking: Callable[..., Any] = answering(ask)
    for parameter in reversed([p for row in rows for p in row.parameters]):
        asking = _option(parameter)(asking)
    return click.command(word, short_help=rows[0].short or rows[0].tells)(asking)


def _option(parameter: Parameter) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    form = _FORMS[parameter.kind]
    options: dict[str, Any] = {**form.options, "metavar": form.metavar}
    return click.option(
        f"--{parameter.called}",
        parameter.name,
        default=parameter.default,
        help=parameter.help,
        shell_complete=form.complete,
        **options,
    )


def _asked(rows: Sequence[Question], given: Mapping[str, Any]) -> Question:
    if len(rows) == 1:
        return rows[0]
    chosen = [row for row in rows if all(given[p.name] is not None for p in row.parameters)]
    if len(chosen) != 1:
        names = [f"--{p.called}" for row in rows for p in row.parameters]
        raise click.UsageError(f"Give one of {', '.join(names[:-1])} and {names[-1]}.")
    return chosen[0]


def _arguments(
    row: Question, season: SeasonFolder, given: Mapping[str, Any]
) -> tuple[list[Any], dict[str, Any]]:
    """Return what a question is asked with: what stands first, and the rest by name."""
    positional: list[Any] = []
    named: dict[str, Any] = {}
    for parameter in row.parameters:
        value = given[parameter.name]
        if parameter.kind in (Kind.TYPES, Kind.VALUES):
            positional += value
        elif parameter.kind is Kind.MORNING and value is None:
            from slackwater.fitting.journey.today import morning_of

            named[parameter.name] = morning_of(season.season, dt.date.today())
        elif parameter.kind in (Kind.DATE, Kind.MORNING) and value is not None:
            from slackwater.fitting.intake.dates import parse_date

            named[parameter.name] = parse_date(value)
        elif parameter.kind is Kind.PLANNED:
            from slackwater.fitting.commands.dated import parse_session

            types = season.now.types if value else ()
            named[parameter.name] = [parse_session(text, types) for text in value]
        else:
            named[parameter.name] = value
    return positional, named


def _help(word: str, rows: Sequence[Question]) -> str:
    more = f"\n\n{rows[0].more}" if rows[0].more else ""
    lines = [f"  slackwater {word} my-season{_typed(row, e)}" for row in rows for e in row.examples]
    return f"{rows[0].tells}{more}\n\n\b\nExamples:\n" + "\n".join(lines)


def _typed(row: Question, example: Mapping[str, Any]) -> str:
    """Return the options of an example as they are typed."""
    called = {p.name: p.called for p in row.parameters}
    words = []
    for name, value in example.items():
        words.append(f"--{called.get(name, name)}")
        if value is not True:
            words += [_quoted(v) for v in (value if isinstance(value, tuple) else (value,))]
    return "".join(f" {word}" for word in words)


def _quoted(value: Any) -> str:
    text = str(value)
    return f'"{text}"' if shlex.quote(text) != text else text
