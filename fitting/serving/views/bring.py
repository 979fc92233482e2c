"""Files brought in: a spreadsheet or table from elsewhere, and the beats of nights."""

from __future__ import annotations

from pathlib import Path, PurePath
from tempfile import TemporaryDirectory
from typing import Any

from rich.text import Text

from slackwater.fitting import foreign
from slackwater.fitting.beats.merge import Beats
from slackwater.fitting.beats.night import Asked
from slackwater.fitting.doubts.coming import doubts_of_coming
from slackwater.fitting.importing.choices import Choices, Question
from slackwater.fitting.importing.merge import merge
from slackwater.fitting.intake.files import read_tables
from slackwater.fitting.intake.problems import SeasonFilesError, abridge
from slackwater.fitting.intake.tables import no_tables
from slackwater.fitting.keeping.confirming import confirmations
from slackwater.fitting.questions import question
from slackwater.fitting.report import importing as words_of
from slackwater.fitting.report.pieces import pieces
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.reasons.importing import question as asked_in_words
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown
from slackwater.fitting.serving.uploads import Brought
from slackwater.fitting.serving.views.entering import make_folder
from slackwater.model.errors import NoAnswerError, QuestionError, Reason

_SHOWN = 10  # doubts
_GONE = "The file is not at hand any more; bring it again."


def show_table(_: Ask) -> Answered:
    """Show where a table is brought."""
    return Shown("bring", "Bring a spreadsheet or table", {"what": "table"})


def show_beats(ask: Ask) -> Answered:
    """Show where beats are brought."""
    return Shown("bring", "Bring the beats of nights", {"what": "beats"})


def take_table(ask: Ask) -> Answered:
    """Read a table: ask what it leaves open, show what it would enter, enter it.

    Raises:
        SeasonFilesError: the file, or some of its rows, cannot be read.
        NoAnswerError: nothing of a season is in it.
    """
    key, (file, *_) = _brought(ask)
    there = foreign.there_already(ask.season.path)
    given = ask.form.get("answer", [])
    waiting = iter(given)

    def answer(asked: Question) -> str | None:
        return next(waiting, None)

    found = foreign.settled(file.name, file.content, Choices(), there, answer)
    facts: dict[str, Any] = {"key": key, "answers": given, "what": "table"}
    if found.questions:
        asked = found.questions[0]
        told = asked_in_words(asked.about, asked.of, asked.cell, asked.sheet)
        return Shown("ask", "One question about the file", facts | {"asked": told, "among": asked})
    if found.problems and not ask.one("skip"):
        raise SeasonFilesError(abridge(found.problems, []))
    if not found.rows:
        raise NoAnswerError(Reason("nothing in the file", file=file.name))
    merged = merge(found.rows, there[0])
    replacing = ask.one("replace") == "yes"
    coming = foreign.coming_of(merged, replacing)
    doubts = foreign.doubts_of(coming, there[0])
    if not ask.one("sure"):
        shown = pieces([Text(f": {file.name}"), *words_of.proposal(found, merged)])
        doubted = [sentence(doubt.reason) for doubt in doubts]
        facts |= {"told_pieces": shown, "doubted": doubted[:_SHOWN], "more": len(doubted) - _SHOWN}
        return Shown("proposed", "What the file holds", facts | {"differ": len(merged.conflicts)})
    make_folder(ask)
    foreign.take_in(ask.season, found, merged, replacing, doubts, there)
    ask.uploads.drop(key)
    return Elsewhere(ask.to(), [f"Took {len(coming)} rows from {file.name}."], undoes=bool(coming))


def take_beats(ask: Ask) -> Answered:
    """Read nights of beats: show the readings they give, enter them.

    Raises:
        QuestionError: no file, or a date that is none.
        SeasonFilesError: a file cannot be read.
    """
    key, files = _brought(ask)
    date, sensor = ask.one("date"), ask.one("sensor")
    asked = Asked(date=ask.day("date"))
    season = ask.season
    with TemporaryDirectory() as place:
        for file in files:
            (Path(place) / file.name).write_bytes(file.content)
        source = Path(place) / files[0].name if len(files) == 1 else Path(place)
        answer: Beats = question("beats").ask(
            season.checked.season, source, asked, replaces=ask.one("replace") == "yes"
        )
    tables = read_tables(season.path)[1] if season.path.is_dir() else no_tables()
    doubts = doubts_of_coming(answer.rows(sensor), tables, ask.seasons.clock())
    if not ask.one("sure"):
        facts = {
            "key": key,
            "what": "beats",
            "answers": [],
            "told_pieces": pieces(question("beats").tell(answer)),
            "doubted": [sentence(doubt.reason) for doubt in doubts][:_SHOWN],
            "more": len(doubts) - _SHOWN,
            "differ": 0,
            "also": [("date", date), ("sensor", sensor)],
        }
        return Shown("proposed", "What the beats give", facts)
    make_folder(ask)
    rows = [*answer.entries(sensor), *confirmations(doubt.row for doubt in doubts)]
    season.enter(rows, answer.called)
    ask.uploads.drop(key)
    return Elsewhere(ask.to(), [f"Entered the {answer.called}."], undoes=bool(rows))


def _brought(ask: Ask) -> tuple[str, list[Brought]]:
    """Return the files that came, now or before, and what they are kept by."""
    came = [Brought(PurePath(name).name, content) for name, content in ask.files.get("file", [])]
    if came:
        return ask.uploads.keep(came), came
    key = ask.one("key")
    files = [*ask.uploads.of(key)]
    if not files:
        raise QuestionError(_GONE if key else "Choose a file first.")
    return key, files
