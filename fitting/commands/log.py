"""The commands that log a line a day, and take it back."""

from __future__ import annotations

import datetime as dt
import json
import shlex
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import (
    complete_intervention,
    complete_sensor,
    complete_stressor,
    complete_type,
)
from slackwater.fitting.commands.shared import NO_ANSWER, folder_argument, json_option
from slackwater.fitting.daily.typed import Typed, replaced, row_of

if TYPE_CHECKING:
    from slackwater.fitting.daily.logged import Logged
    from slackwater.fitting.keeping.row import Row

_SHOWN: Final = 10  # days
_TODAY: Final = {"today": dt.timedelta(0), "yesterday": dt.timedelta(1)}


@click.group()
def log() -> None:
    """Log a line a day into the season's own files, and take it back.

    One row is added. All else in a file stays as it is written: columns, order,
    separator, decimal mark, line ends, encoding.

    \b
    Each day:
      slackwater log reading my-season 66
      slackwater log session my-season "hill run"
      slackwater log show my-season
      slackwater log undo my-season
    """


def logging(command: Callable[..., Typed]) -> Callable[..., Any]:
    """Give a command that reads a row what all that log have in common, and enter its row."""

    @wraps(command)
    def run(season: Path, date: str, as_json: bool, yes: bool, **given: Any) -> None:
        typed = command(**given)
        _log(season, typed, _day(date), as_json, yes)

    for option in (
        click.option("--yes", is_flag=True, help="Take an unlikely entry without asking."),
        json_option,
        click.option(
            "--date",
            default="today",
            show_default=True,
            metavar="DATE",
            help="YYYY-MM-DD, today or yesterday.",
        ),
    ):
        run = option(run)
    return run


@log.command(short_help="Log this morning's reading, in milliseconds.")
@folder_argument
@click.argument("ms", metavar="MS")
@click.option(
    "--sensor", metavar="NAME", shell_complete=complete_sensor, help="What it was read with."
)
@logging
def reading(ms: str, sensor: str | None) -> Typed:
    """Log a night's RMSSD under its morning, and tell how it lies against what was expected.

    \b
    Examples:
      slackwater log reading my-season 66
      slackwater log reading my-season 57.6 --date yesterday
      slackwater log reading my-season 61 --date 2031-07-07 --sensor "chest strap"
    """
    return Typed("readings", {"rmssd_ms": ms, "sensor": sensor})


@log.command(short_help="Log a training session.")
@folder_argument
@click.argument("session_type", metavar="TYPE", shell_complete=complete_type)
@click.option("--dose", metavar="X", help="The type's usual session is 1, as if left out.")
@logging
def session(session_type: str, dose: str | None) -> Typed:
    """Log a training session, and tell what to expect of the next morning.

    \b
    Examples:
      slackwater log session my-season "hill run"
      slackwater log session my-season "hill run" --dose 0.5 --date yesterday
    """
    return Typed("sessions", {"type": session_type, "dose": dose})


@log.command(short_help="Log a day's recovery measure.")
@folder_argument
@click.argument("name", metavar="NAME", shell_complete=complete_intervention)
@logging
def intervention(name: str) -> Typed:
    """Log a recovery measure that was used on a day.

    \b
    Examples:
      slackwater log intervention my-season "river dip"
      slackwater log intervention my-season "river dip" --date yesterday
    """
    return Typed("interventions", {"intervention": name})


@log.command(short_help="Log what else weighed on the body.")
@folder_argument
@click.argument("name", metavar="NAME", shell_complete=complete_stressor)
@logging
def stressor(name: str) -> Typed:
    """Log what else weighed on the body on a day: illness, travel, alcohol, a bad night.

    \b
    Examples:
      slackwater log stressor my-season cold
      slackwater log stressor my-season "late travel" --date yesterday
    """
    return Typed("stressors", {"stressor": name})


@log.command(short_help="Take back the last entry; again, the one before.")
@folder_argument
@json_option
def undo(season: Path, as_json: bool) -> None:
    """Take back the last entry that was not taken back yet, back to where logging began.

    A file that nobody else changed since is put back byte for byte; from one that was,
    just the row that was logged is taken out.

    \b
    Examples:
      slackwater log undo my-season
      slackwater log undo my-season --json
    """
    from slackwater.fitting import logbook
    from slackwater.fitting.daily.logged import last_night, season_name
    from slackwater.fitting.report.daily import objects, text

    found = logbook.undo(season)
    if as_json:
        told = objects.taken_back(found, season_name(season), last_night(season))
        click.echo(json.dumps(told, indent=2))
        return
    for line in text.taken_back(found):
        click.echo(line)


@log.command(short_help="Show the last days side by side.")
@folder_argument
@click.option(
    "--days", type=click.IntRange(1, 366), default=_SHOWN, show_default=True, help="How many."
)
@json_option
def show(season: Path, days: int, as_json: bool) -> None:
    """Show the last days side by side: readings, sessions, measures, stressors.

    \b
    Examples:
      slackwater log show my-season
      slackwater log show my-season --days 28
    """
    from slackwater.fitting.daily.days import last_days
    from slackwater.fitting.daily.logged import last_night, season_name
    from slackwater.fitting.report.daily import objects, text

    found = last_days(season, days)
    if as_json:
        told = objects.days(found, season_name(season), last_night(season))
        click.echo(json.dumps(told, indent=2))
        return
    for line in text.days(found.days, shutil.get_terminal_size().columns):
        click.echo(line)
    for line in text.left_out(found):
        click.echo(line, err=True)


def _log(season: Path, typed: Typed, day: dt.date, as_json: bool, yes: bool) -> None:
    from slackwater.fitting.daily.logged import keep_up, log_row

    row, what = row_of(season, typed, day), typed.what(day)
    found = log_row(season, row, what, _make_sure(season, row, yes))
    if as_json:
        from slackwater.fitting.report.daily import objects

        click.echo(json.dumps(objects.logged(found), indent=2))
    else:
        _tell(found, what, season)
    sys.stdout.flush()
    keep_up(season)


def _tell(found: Logged, what: str, season: Path) -> None:
    from slackwater.fitting.report.daily import text

    width = shutil.get_terminal_size().columns
    for line in text.logged(found, what, dt.date.today()):
        click.echo(textwrap.fill(line, width, break_on_hyphens=False))
    if found.why_not:
        from slackwater.fitting.commands.ways import mend

        if way := mend(found.why_not, season):
            click.echo(f"  {way}")
    elif found.first_fit is not None and not text.readings_more(found.first_fit):
        click.echo(f"  slackwater fit {shlex.quote(str(season))}")


def _make_sure(season: Path, row: Row, yes: bool) -> list[Row]:
    """Ask where a row is doubted; return what is entered with it, as it was said to be right.

    A person at a terminal is asked. Without a terminal nothing is written.
    """
    from slackwater.fitting.daily.doubted import doubts_of_rows
    from slackwater.fitting.files import new_folder
    from slackwater.fitting.keeping.confirming import confirmations

    doubts = doubts_of_rows(season, [row], dt.date.today())
    said = [*_said(season, row)]
    if doubts:
        from slackwater.fitting.report.reasons import sentence

        said += [sentence(doubt.reason) for doubt in doubts]
    for line in said:
        click.echo(line, err=True)
    if said and not yes:
        asked = sys.stdin.isatty() and sys.stderr.isatty()
        if not asked or not click.confirm("Log it all the same?", err=True):
            more = "" if asked else " If it is right, log it again with --yes."
            click.echo(f"Nothing was written.{more}", err=True)
            sys.exit(NO_ANSWER)
    if not season.exists():
        new_folder(season)
    return confirmations(doubt.row for doubt in doubts)


def _said(season: Path, row: Row) -> Iterator[str]:
    """Yield what entering a row would do beside adding it, a sentence each."""
    if not season.exists():
        yield f"There is no folder {season} yet; logging makes it, and a new season in it."
    elif (there := replaced(season, row)) is not None:
        from slackwater.fitting.report.daily.text import in_its_place

        yield in_its_place(row.cells["date"], there)  # type: ignore[arg-type]


def _day(text: str) -> dt.date:
    if text.strip().lower() in _TODAY:
        return dt.date.today() - _TODAY[text.strip().lower()]
    from slackwater.fitting.intake.dates import parse_day

    return parse_day(text)
