"""The command that turns beats into readings and enters them."""

from __future__ import annotations

import datetime as dt
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import complete_sensor
from slackwater.fitting.commands.shared import NO_ANSWER, answering, print_answer, progress_bar
from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.questions import question
from slackwater.model.errors import NoAnswerError, QuestionError, Reason

if TYPE_CHECKING:
    from slackwater.fitting.beats.merge import Beats
    from slackwater.fitting.beats.mornings import Edge
    from slackwater.fitting.beats.night import Asked, Measured
    from slackwater.fitting.doubts.entries import Doubt
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.intake.tables import Tables
    from slackwater.fitting.keeping.row import Row
    from slackwater.model.season import Season

_SECOND: Final = "a night's second reading"
_SHOWN: Final = 10


@click.command(short_help="Turn the beats of nights into readings.")
@click.argument("source", type=click.Path(path_type=Path), metavar="FILE_OR_FOLDER")
@answering
@click.option("--date", metavar="DATE", help="The night's morning, where the file does not tell.")
@click.option("--from", "begin", metavar="TIME", help="From when: 23:30, or hours from the start.")
@click.option("--to", "end", metavar="TIME", help="Until when, in the same form.")
@click.option(
    "--sensor",
    metavar="NAME",
    default="",
    help="What the beats were recorded with.",
    shell_complete=complete_sensor,
)
@click.option("--replace", "replaces", is_flag=True, help="Replace readings of the same nights.")
@click.option("--yes", is_flag=True, help="Enter unlikely nights without asking.")
@click.option("--draft", is_flag=True, help="Show the readings and enter none.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Draw one night into FILE.svg or FILE.png.",
)
@click.option(
    "--unit",
    type=click.Choice(["ms", "s", "1/1024 s"]),
    help="Unit of the intervals; told from their size.",
)
@click.option("--column", metavar="NAME", help="The column that holds the beats.")
@click.option("--label", metavar="TEXT", help="The text of the EDF+ annotations that are beats.")
def beats(season: SeasonFolder, source: Path, **given: Any) -> None:
    """Turn the beats of a night, or of a folder of nights, into readings.

    Takes RR intervals, one a line in ms or s; a table with a column of intervals or of the
    beats' times; WFDB annotations; EDF+ annotations. Takes out artefacts by a published rule,
    works out RMSSD and how exactly it is known, and enters both into readings.csv, as one step.

    \b
    Examples:
      slackwater beats 2031-05-02.txt my-season --picture night.svg
      slackwater beats nights my-season --sensor "chest strap"
      slackwater beats night.csv my-season --from 23:30 --to 05:30 --draft
    """
    from slackwater.fitting.intake.files import read_tables
    from slackwater.fitting.keeping.confirming import confirmations

    asked = _asked(given)
    drawn: list[Measured] = []
    if source.is_dir() and (given["date"] or given["picture"]):
        raise click.UsageError("--date and --picture are about one night; give one file.")
    row = question("beats")
    with progress_bar("reading nights") as progress:
        answer: Beats = row.ask(
            _as_it_stands(season),
            source,
            asked,
            replaces=given["replaces"],
            level=given["level"],
            progress=progress,
            seen=drawn.append,
        )
    if given["picture"]:
        _draw(answer, drawn[0], given["picture"])
        answer = replace(answer, picture=str(given["picture"]))
    sensor, (_, tables) = given["sensor"].strip(), read_tables(season.path)
    doubts = _doubted(answer, sensor, tables)
    answer = replace(answer, doubts=tuple(doubt.reason for doubt in doubts))
    if not given["draft"] and answer.rows(sensor):
        if doubts and not (given["yes"] or _said_right(answer)):
            error = NoAnswerError(Reason("unlikely nights", doubts=list(answer.doubts)))
            error.add_note("  --yes enters them as they are")
            raise error
        rows = answer.entries(sensor)
        right = [doubt.row for doubt in doubts]
        there = [entry.values for entry in tables.confirmed.entries]
        answer = _enter(season, answer, [*rows, *confirmations(right, there)])
    print_answer(row, answer, season, given["as_json"])
    if answer.refused:
        sys.exit(NO_ANSWER)


def _as_it_stands(season: SeasonFolder) -> Season | None:
    """Return the season with all that its files hold, None where there is no reading yet."""
    found = season.checked
    if found.problems and season.begun:
        raise SeasonFilesError(found.problems)
    return found.season


def _doubted(answer: Beats, sensor: str, tables: Tables) -> list[Doubt]:
    """Return what is to be asked about the nights before they are entered."""
    from slackwater.fitting.doubts.coming import doubts_of_coming

    found = doubts_of_coming(answer.rows(sensor), tables, dt.date.today())
    return [doubt for doubt in found if doubt.reason.code != _SECOND]  # replacing was asked for


def _asked(given: dict[str, Any]) -> Asked:
    from slackwater.fitting.beats.night import Asked
    from slackwater.fitting.beats.text_file import Wanted
    from slackwater.fitting.intake.dates import parse_date

    wanted = Wanted(given["unit"], given["column"], given["label"])
    date = None if given["date"] is None else dt.date.fromisoformat(str(parse_date(given["date"])))
    return Asked(wanted, _edge(given["begin"]), _edge(given["end"]), date)


def _edge(typed: str | None) -> Edge:
    """Return a clock time, or hours from the start."""
    if typed is None:
        return None
    with suppress(ValueError):
        if ":" in typed:
            return dt.time.fromisoformat(typed.strip().zfill(5))
        hours = float(typed)
        if 0 <= hours < float("inf"):
            return hours
    raise QuestionError(
        f"{typed!r} is no time; write a clock time such as 23:30, or hours from the start of the "
        "recording such as 1.5."
    )


def _draw(answer: Beats, measured: Measured, path: Path) -> None:
    from slackwater.fitting.files import write_whole
    from slackwater.fitting.report.beats.picture import FORMATS, draw_night

    form = path.suffix.lower().removeprefix(".")
    if form not in FORMATS:
        raise QuestionError(f"{path}: a picture is written as .svg or .png; name it so.")
    write_whole(path, draw_night(answer.nights[0], measured, form))


def _enter(season: SeasonFolder, answer: Beats, rows: list[Row]) -> Beats:
    season.enter(rows, answer.called)
    found = season.checked.season
    if found is None:
        return replace(answer, written=True)
    about = replace(answer.about, season=found.name, last_night=found.last_night)
    return replace(answer, about=about, written=True)


def _said_right(answer: Beats) -> bool:
    """Ask a person at a terminal whether doubtful nights are right."""
    from slackwater.fitting.report.reasons import sentences

    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    for said in sentences(answer.doubts)[:_SHOWN]:
        click.echo(said, err=True)
    return click.confirm("Enter them as they are?", default=False, err=True)
