"""The command line: the group of all commands, and what becomes of errors."""

from __future__ import annotations

import atexit
import codecs
import gc
import sys
from io import TextIOWrapper
from typing import Final

import click
from click.exceptions import NoSuchCommand

from slackwater.fitting.commands.shared import NO_ANSWER, WRONG_INPUT
from slackwater.fitting.questions import load, words
from slackwater.fitting.text import escaped
from slackwater.model.errors import NoAnswerError, SlackwaterError

_OBJECTS: Final = 200_000  # made before a search for garbage: more than any short answer makes
_IN_PLAIN: Final = "in plain characters"
_DASHES: Final = {"–": "-", "—": "-", "−": "-", "…": "..."}  # noqa: RUF001


_OTHERS: Final = {
    "beats": "commands.beats:beats",
    "demo": "commands.learning:demo",
    "check": "commands.learning:check",
    "fit": "commands.learning:fit",
    "import": "commands.importing:import_",
    "log": "commands.log:log",
    "open": "commands.opening:open_",
    "report": "commands.report:report",
    "spacing": "commands.spacing:spacing",
    "squad": "commands.squad:squad",
    "trial": "commands.trial:trial",
}


class _Commands(click.Group):
    """All commands, each made when it is first asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands' names."""
        return sorted([*_OTHERS, *words()])

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of a name, None where there is none."""
        if cmd_name in _OTHERS:
            found: click.Command = load(_OTHERS[cmd_name])  # type: ignore[assignment]
            return found
        if cmd_name in words():
            from slackwater.fitting.commands.asking import command

            return command(cmd_name)
        return None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that is typed; one that there is not is told its like."""
        try:
            return super().resolve_command(ctx, args)
        except NoSuchCommand as error:
            known = self.list_commands(ctx)
            raise NoSuchCommand(error.command_name, possibilities=known, ctx=ctx) from None


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="slackwater")
def cli() -> None:
    """Learn from nightly RMSSD how long your training takes to recover from.

    A season is a folder of CSV files: readings.csv (date, rmssd_ms) and, where there are
    any, sessions.csv, types.csv, interventions.csv and stressors.csv.

    \b
    Start with:
      slackwater demo                    the whole job on an invented season
      slackwater open my-season          log, look and plan in a browser
      slackwater check my-season         what is understood, and what is wrong
      slackwater fit my-season           learn from it; writes posterior.nc
      slackwater today my-season         what this morning means for training
      slackwater recovery my-season      days to recover, by session type
      slackwater report my-season        every answer and its pictures in one file
    """


def main() -> None:
    """Run the command line as what its process is there for, and exit with its status."""
    # Where Dask is installed, for squads, xarray loads it and SciPy for whatever it answers, to see
    # whether an array is one of Dask's: none is in this process.
    sys.modules.setdefault("dask", None)  # type: ignore[arg-type]
    gc.set_threshold(_OBJECTS)
    atexit.register(gc.freeze)  # the process ends, and all its memory with it
    answer()


def answer() -> None:
    """Run the command that was typed; exit with its status if anything is wrong."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=_IN_PLAIN)
    try:
        cli.main(prog_name="slackwater")
    except NoAnswerError as error:
        from slackwater.fitting.report.reasons import told

        _fail(error, told(error), NO_ANSWER)
    except SlackwaterError as error:
        _fail(error, str(error), WRONG_INPUT)
    except OSError as error:
        _fail(error, f"{error.filename or 'file'}: {error.strerror or error}", WRONG_INPUT)


def _in_plain(error: UnicodeError) -> tuple[str, int]:
    """Write what the terminal cannot show as its plain like, or as "?"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(_DASHES.get(character, "?") for character in lost), error.end


codecs.register_error(_IN_PLAIN, _in_plain)


def _fail(error: Exception, message: str, status: int) -> None:
    """Say what is wrong, what was noted of it, and exit."""
    lines = "\n".join([message, *getattr(error, "__notes__", [])]).split("\n")
    click.echo("\n".join(map(escaped, lines)), err=True)
    sys.exit(status)
