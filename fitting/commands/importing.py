"""The command that takes in foreign tables: reads, asks, shows, enters."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import complete_folder
from slackwater.fitting.commands.shared import json_option
from slackwater.fitting.importing.choices import ANSWERS, FIELDS, LEAVE, Choices, Question
from slackwater.fitting.text import escaped
from slackwater.model.errors import NoAnswerError, Reason

if TYPE_CHECKING:
    from slackwater.fitting.doubts.entries import Doubt
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.importing.entries import Entry
    from slackwater.fitting.importing.merge import Merged
    from slackwater.fitting.importing.proposal import Proposal

MOST_DOUBTS: Final = 10  # shown; the others are counted
_SEPARATORS: Final = {"tab": "\t", "comma": ",", "semicolon": ";", "bar": "|"}


def _chosen_from(about: str, help_text: str) -> Callable[..., Any]:
    choice = click.Choice(ANSWERS[about])
    return click.option(f"--{about}", type=choice, help=help_text, metavar="WAY")


@click.command("import", short_help="Take in a spreadsheet or table from elsewhere.")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.argument(
    "season",
    type=click.Path(path_type=Path),
    metavar="SEASON_FOLDER",
    shell_complete=complete_folder,
)
@json_option
@click.option("--yes", is_flag=True, help="Take what is proposed, without being asked.")
@click.option("--replace", "replacing", is_flag=True, help="Where rows differ, take the file's.")
@click.option("--skip", is_flag=True, help="Leave out rows that cannot be read.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="FIELD=HEADER",
    help=f"What a column holds: {', '.join(FIELDS)}.",
)
@_chosen_from("dates", "Order in dates: day-first, month-first, year-first.")
@_chosen_from("decimal", "Decimal mark: . or ,.")
@_chosen_from("unit", "Unit of the readings: ms, s or ln.")
@click.option(
    "--dose", metavar="HEADER", help=f"Make doses from this column; '{LEAVE}' makes none."
)
@_chosen_from("evening", "Readings timed in the evening bear the date of: evening, morning.")
@_chosen_from("undated", "Rows without a date: those of the day above, or leave.")
@_chosen_from("twice", "Of two readings of a night: first or last.")
@click.option("--sheet", "sheets", multiple=True, metavar="NAME", help="Read this sheet only.")
@click.option("--encoding", metavar="NAME", help="Encoding of a text file, such as cp1252.")
@click.option("--separator", metavar="MARK", help="What parts a text file's fields, such as tab.")
def import_(
    file: Path, season: Path, as_json: bool, yes: bool, replacing: bool, skip: bool, **given: Any
) -> None:
    """Take in a table from elsewhere: CSV and its kin, Excel, OpenDocument, Parquet.

    Says what it understood and shows five rows. Asks where the file can be read in several
    ways, and remembers the answers in season.toml. What is there already is kept.

    \b
    Examples:
      slackwater import export.csv my-season
      slackwater import export.xlsx my-season --yes
      slackwater import old.csv my-season --dates day-first --column "rmssd=Night"
    """
    from slackwater.fitting import foreign
    from slackwater.fitting.files import new_folder
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.importing.merge import merge

    there = foreign.there_already(season)
    choices = _choices(given)
    found = foreign.settled(file.name, _bytes(file), choices, there, _ask)
    if found.questions:
        raise _unsettled(found)
    if found.problems and not skip:
        _refuse(found)
    if not found.rows:
        raise NoAnswerError(Reason("nothing in the file", file=file.name))
    merged = merge(found.rows, there[0])
    if not as_json:
        _show(found, merged)
    coming = foreign.coming_of(merged, replacing)
    doubted = foreign.doubts_of(coming, there[0])
    doubts = [_in_words(coming[doubt.place], doubt) for doubt in doubted]
    for said in [] if as_json else doubts[:MOST_DOUBTS]:
        click.echo(escaped(said), err=True)
    if len(doubts) > MOST_DOUBTS and not as_json:
        click.echo(f"And {len(doubts) - MOST_DOUBTS} more like these.", err=True)
    asked = coming and not yes and (doubts or not found.remembered)
    if asked and not _agreed():
        why = Reason("unlikely rows") if doubts else Reason("proposal not taken")
        error = NoAnswerError(why)
        error.add_note("  --yes takes it as it is")
        raise error
    folder = SeasonFolder(season)
    new_folder(folder.path)
    foreign.take_in(folder, found, merged, replacing, doubted, there)
    _tell(folder, found, merged, replacing, doubts, as_json)


def _choices(given: dict[str, Any]) -> Choices:
    columns: dict[str, tuple[str, ...]] = {}
    for text in given.pop("columns"):
        field, _, header = text.partition("=")
        if field not in FIELDS or not header:
            raise click.UsageError(
                f"{text!r} is not FIELD=HEADER; the fields are {', '.join(FIELDS)}."
            )
        columns[field] = (*columns.get(field, ()), header)
    separator = given.pop("separator")
    separator = _SEPARATORS.get(separator, separator)
    if separator is not None and (len(separator) != 1 or separator in '"\r\n'):
        raise click.UsageError("--separator takes one character, or tab, comma, semicolon, bar.")
    sheets = tuple(given.pop("sheets"))
    return Choices(**given, columns=columns, separator=separator, sheets=sheets)


def _bytes(file: Path) -> bytes:
    from slackwater.fitting.files import read_whole
    from slackwater.fitting.importing.book import MOST_OF_A_FILE
    from slackwater.fitting.intake.problems import Problem, SeasonFilesError

    try:
        return read_whole(file, MOST_OF_A_FILE)
    except OSError as error:
        mend = "give the file to take in, such as export.csv"
        what = f"it cannot be read ({error.strerror})"
        raise SeasonFilesError([Problem(str(file), 1, 1, what, mend)]) from None


def _at_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _ask(asked: Question) -> str | None:
    """Return what a person at a terminal answers; None where there is none."""
    if not _at_a_terminal():
        return None
    from slackwater.fitting.report.reasons.importing import question

    click.echo(escaped(question(asked.about, asked.of, asked.cell, asked.sheet)), err=True)
    for number, (value, shows) in enumerate(asked.answers, start=1):
        click.echo(escaped(f"  {number}  {value}{f': {shows}' if shows else ''}"), err=True)
    which = click.prompt("Which", type=click.IntRange(1, len(asked.answers)), err=True)
    return asked.answers[which - 1].value


def _unsettled(found: Proposal) -> NoAnswerError:
    """Return the refusal that names what must be chosen, and how each choice is typed."""
    import shlex

    from slackwater.fitting.report.reasons.importing import question

    told = [question(q.about, q.of, q.cell, q.sheet) for q in found.questions]
    error = NoAnswerError(
        Reason("several readings of a file", file=found.book.file, questions=told)
    )
    for text, asked in zip(told, found.questions, strict=True):
        error.add_note(text)
        for value, shows in asked.answers:
            option = f"--{asked.about} {shlex.quote(value)}"
            if asked.about == "column":
                typed = (
                    f"leave={asked.answers[0].value}" if value == LEAVE else f"{asked.of}={value}"
                )
                option = f"--column {shlex.quote(typed)}"
            error.add_note(f"  {option}{f'   {shows}' if shows else ''}")
    return error


def _refuse(found: Proposal) -> None:
    from slackwater.fitting.intake.problems import SeasonFilesError, abridge

    error = SeasonFilesError(abridge(found.problems, []))
    error.add_note("Nothing was written; --skip leaves such rows out.")
    raise error


def _show(found: Proposal, merged: Merged) -> None:
    from rich.console import Console

    from slackwater.fitting.report.importing import proposal

    console = Console(highlight=False)
    for part in proposal(found, merged):
        console.print(part)


def _agreed() -> bool:
    return _at_a_terminal() and click.confirm("Take this in?", default=True, err=True)


def _in_words(entry: Entry, doubt: Doubt) -> str:
    """Return what is unlikely of a row that comes in."""
    from slackwater.fitting.report.reasons.doubts import told_of

    told = told_of(doubt.reason)
    return f"{entry.file}, row {entry.row}: {told.what}; {told.mend}."


def _tell(
    folder: SeasonFolder,
    found: Proposal,
    merged: Merged,
    replacing: bool,
    doubts: Sequence[str],
    as_json: bool,
) -> None:
    from slackwater.fitting.report.importing import as_object

    season = folder.checked.season
    if as_json:
        about = {
            "season": season and season.name,
            "last_night": season and str(season.last_night),
        }
        click.echo(json.dumps(as_object(found, merged, replacing, about, doubts), indent=2))
        return
    changed = len(merged.added) + (len(merged.conflicts) if replacing else 0)
    where = escaped(str(folder.path))
    if not changed:
        click.echo("Nothing is new, so nothing was written.")
    else:
        click.echo(f"Took {changed} rows into {where}.")
    if merged.conflicts and not replacing:
        click.echo("Where they differ, the season's rows were kept; --replace takes the file's.")
    for problem in folder.checked.problems:
        click.echo(str(problem), err=True)
