"""The command line: the group of all commands, and what becomes of errors."""

from __future__ import annotations

import sys
from io import TextIOWrapper

import click

from slackwater.fitting.commands import (
    answering,
    elements,
    history,
    learning,
    repeats,
    spacing,
    trial,
    washout,
)
from slackwater.fitting.commands.learning import NO_ANSWER, WRONG_INPUT
from slackwater.model.errors import NoAnswerError, SlackwaterError


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
      slackwater fit my-season           learn from it; writes posterior.nc into it
      slackwater recovery my-season      days to recover, by session type
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
    trial.trial,
    spacing.spacing,
):
    cli.add_command(command)


def main() -> None:
    """Run the command line and exit with its status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # what the terminal cannot show becomes "?"
    try:
        cli.main(prog_name="slackwater")
    except NoAnswerError as error:
        _fail(str(error), NO_ANSWER)
    except SlackwaterError as error:
        _fail(str(error), WRONG_INPUT)
    except OSError as error:
        _fail(f"{error.filename or 'file'}: {error.strerror or error}", WRONG_INPUT)


def _fail(message: str, status: int) -> None:
    click.echo(message, err=True)
    sys.exit(status)
