"""The command line: the group of all commands, and what becomes of errors."""

from __future__ import annotations

import codecs
import sys
from io import TextIOWrapper
from typing import Final

import click

from slackwater.fitting.commands import (
    answering,
    elements,
    explain,
    history,
    learning,
    repeats,
    report,
    spacing,
    trial,
    washout,
)
from slackwater.fitting.commands.learning import NO_ANSWER, WRONG_INPUT
from slackwater.model.errors import NoAnswerError, SlackwaterError

_IN_PLAIN: Final = "in plain characters"
_DASHES: Final = {"–": "-", "—": "-", "−": "-", "…": "..."}  # noqa: RUF001


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="slackwater")
def cli() -> None:
    """Learn from nightly RMSSD how long your training takes to recover from.

    A season is a folder of CSV files: readings.csv (date, rmssd_ms) and, where there are
    any, sessions.csv, types.csv, interventions.csv and stressors.csv.

    \b
    Start with:
      slackwater demo                    the whole job on an invented season
      slackwater check my-season         what is understood, and what is wrong
      slackwater fit my-season           learn from it; writes posterior.nc
      slackwater recovery my-season      days to recover, by session type
      slackwater report my-season        every answer and its pictures in one file
    """


for command in (
    learning.demo,
    learning.check,
    learning.fit,
    answering.recovery,
    answering.baseline,
    answering.forecast,
    answering.compare,
    washout.washout,
    history.history,
    repeats.repeats,
    elements.elements,
    explain.explain,
    report.report,
    trial.trial,
    spacing.spacing,
):
    cli.add_command(command)


def main() -> None:
    """Run the command line and exit with its status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=_IN_PLAIN)
    try:
        cli.main(prog_name="slackwater")
    except NoAnswerError as error:
        _fail(_told(error), NO_ANSWER)
    except SlackwaterError as error:
        _fail(_told(error), WRONG_INPUT)
    except OSError as error:
        _fail(f"{error.filename or 'file'}: {error.strerror or error}", WRONG_INPUT)


def _told(error: SlackwaterError) -> str:
    return "\n".join([str(error), *getattr(error, "__notes__", [])])


def _in_plain(error: UnicodeError) -> tuple[str, int]:
    """Write what the terminal cannot show as its plain like, or as "?"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(_DASHES.get(character, "?") for character in lost), error.end


codecs.register_error(_IN_PLAIN, _in_plain)


def _fail(message: str, status: int) -> None:
    click.echo(message, err=True)
    sys.exit(status)
