"""Rows entered into a season's own files and taken back, each entry one step.

What a step changes is written down in `.slackwater.journal` first, then the files are put in
place, then the step's end is written. Whoever next asks for the folder's files finishes a step
that was cut short, where one of its files was changed already; else it never took place.

Kept free of pandas, so that a line a day is entered at once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final, NamedTuple

from slackwater.fitting.files import (
    MEBIBYTE,
    MOST_OF_A_TEXT,
    alone,
    append,
    read_whole,
    write_together,
)
from slackwater.fitting.intake.settings import SETTINGS_FILE, Settings, read_settings
from slackwater.fitting.keeping.journal import (
    FileChange,
    Journal,
    Step,
    begun,
    digest,
    ended,
    read_journal,
)
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.keeping.writing import Readings, readings_in, take_out
from slackwater.fitting.keeping.writing import enter as with_rows
from slackwater.model.errors import NoAnswerError, Reason, SeasonError

JOURNAL: Final = ".slackwater.journal"
_MOST_OF_A_JOURNAL: Final = 256 * MEBIBYTE  # a line a day for a century is under 30 MiB
_TRIES: Final = 5  # to write what nobody else changes meanwhile


class Entered(NamedTuple):
    """What an entry did.

    Attributes:
        what: what was entered.
        files: names of the files that it changed.
        made: those of them that were not there before.
        added: by file, the headers of columns that it did not have before.
    """

    what: str
    files: list[str]
    made: list[str]
    added: dict[str, list[str]]


class TakenBack(NamedTuple):
    """What was undone.

    Attributes:
        what: the entry that was taken back.
        files: names of the files that this changed; none where its rows were gone already.
        more: how many entries before it can be undone.
    """

    what: str
    files: list[str]
    more: int


class _ChangedError(Exception):
    """Somebody else changed a file between its reading and its replacing."""


def enter(folder: Path, rows: Sequence[Row], what: str) -> Entered:
    """Enter rows into the season's files, as one step that can be undone.

    The files stay their owner's: see `keeping.writing`. All rows are entered, or none.

    Args:
        folder: the season folder.
        rows: the rows, of any of its files.
        what: what they are, in a few words; `log undo` tells it.

    Raises:
        SeasonFilesError: season.toml or a file cannot be read.
        QuestionError: a row is none that its file can hold, or is there already.
        OSError: a file cannot be written; all are left as they were.
    """
    by_file: defaultdict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_file[row.file].append(row)
    for journal in _tries(folder):
        with suppress(_ChangedError):
            settings = settings_of(folder)
            changes, contents = [], {}
            added: dict[str, list[str]] = {}
            for file, its in by_file.items():
                name = f"{file}.csv"
                before = _read(folder / name)
                written = with_rows(file, before, its, settings)
                if written.content != before:
                    changes.append(FileChange.of(name, before, written.content, written.placed))
                    contents[name] = written.content
                if written.added and before is not None:
                    added[name] = written.added
            if changes:
                step = Step(journal.last + 1, what, None, changes)
                _carry_out(folder, journal, step, contents)
            made = [change.name for change in changes if change.before is None]
            return Entered(what, list(contents), made, added)
    raise AssertionError


def undo(folder: Path) -> TakenBack:
    """Take back the last entry that was not taken back yet.

    A file that nobody changed since is put back byte for byte; from one that was, just the rows
    that were entered are taken out.

    Args:
        folder: the season folder.

    Raises:
        NoAnswerError: there is none, or a row was changed by hand since.
        SeasonError: the record of entries cannot be read.
        OSError: a file cannot be written; all are left as they were.
    """
    for journal in _tries(folder):
        with suppress(_ChangedError):
            if not journal.undoable:
                raise NoAnswerError(Reason("nothing to undo"))
            last = journal.undoable[-1]
            changes, contents = [], {}
            for change in last.files:
                now = _read(folder / change.name)
                before = _without(change, now, folder)
                if before != now:
                    changes.append(FileChange.of(change.name, now, before, change.placed))
                    contents[change.name] = before
            step = Step(journal.last + 1, last.what, last.number, changes)
            _carry_out(folder, journal, step, contents)
            return TakenBack(last.what, list(contents), len(journal.undoable) - 1)
    raise AssertionError


def last_entry(folder: Path) -> str | None:
    """Return what the entry is that would be taken back next; None where there is none.

    Raises:
        SeasonError: the record of entries cannot be read.
    """
    undoable = read_journal(_read(folder / JOURNAL) or b"", str(folder / JOURNAL)).undoable
    return undoable[-1].what if undoable else None


def readings_of(folder: Path) -> Readings:
    """Return what readings.csv holds of the nights read.

    Raises:
        SeasonFilesError: season.toml or the file cannot be read.
    """
    settle(folder)
    content = _read(folder / "readings.csv")
    return Readings({}, "") if content is None else readings_in(content, settings_of(folder))


def settle(folder: Path) -> None:
    """Finish an entry that was cut short; nothing where there is none, or nothing can be written.

    Raises:
        SeasonError: the record of entries cannot be read.
    """
    content = _read(folder / JOURNAL)
    if content and read_journal(content, str(folder / JOURNAL)).pending:
        with suppress(OSError), alone(folder):
            _settled(folder)


def _without(change: FileChange, now: bytes | None, folder: Path) -> bytes | None:
    if digest(now) == change.after:
        return change.undone(now)
    file = change.name.removesuffix(".csv")
    return None if now is None else take_out(file, now, change.placed, settings_of(folder))


def _tries(folder: Path) -> Iterator[Journal]:
    """Yield the record of entries, under the folder's lock, again while others change files."""
    with alone(folder):
        for _ in range(_TRIES):
            yield _settled(folder)
    what = "another program keeps changing the season's files; let it come to rest, then try again"
    raise OSError(None, what, str(folder))


def _settled(folder: Path) -> Journal:
    """Return the record of entries, each at its end."""
    path = folder / JOURNAL
    journal = read_journal(_read(path) or b"", str(path))
    if journal.pending:
        _finish(folder, journal, journal.pending)
        journal = read_journal(_read(path) or b"", str(path))
    return journal


def _finish(folder: Path, journal: Journal, step: Step) -> None:
    """Finish a step of which a file was changed already, and drop any other."""
    now = {change.name: _read(folder / change.name) for change in step.files}
    changed = any(digest(now[c.name]) == c.after for c in step.files)
    if changed:
        todo = [c for c in step.files if digest(now[c.name]) == c.before]
        write_together({folder / c.name: c.done(now[c.name]) for c in todo})
    append(folder / JOURNAL, ended(step, done=changed), journal.whole)


def _carry_out(
    folder: Path, journal: Journal, step: Step, contents: Mapping[str, bytes | None]
) -> None:
    """Write a step down, change its files, write its end down.

    Raises:
        _ChangedError: a file is no longer what the step begins from; nothing was changed.
        OSError: a file cannot be written; nothing was changed.
    """
    record, path = begun(step), folder / JOURNAL

    def ready() -> None:
        append(path, record, journal.whole)
        for change in step.files:  # last, so that next to no time is left for others
            if digest(_read(folder / change.name)) != change.before:
                append(path, ended(step, done=False), journal.whole + len(record))
                raise _ChangedError

    write_together({folder / name: content for name, content in contents.items()}, ready)
    with suppress(OSError):  # without its end, the step is found finished the next time
        append(path, ended(step, done=True), journal.whole + len(record))


def settings_of(folder: Path) -> Settings:
    """Return what a folder's season.toml says.

    Raises:
        SeasonFilesError: it cannot be read.
    """
    return read_settings(_read(folder / SETTINGS_FILE) or b"")


def _read(path: Path) -> bytes | None:
    try:
        return read_whole(path, _MOST_OF_A_JOURNAL if path.name == JOURNAL else MOST_OF_A_TEXT)
    except FileNotFoundError:
        return None
    except OSError as error:
        mend = "allow reading it, or put a plain file in its place"
        raise SeasonError(f"{path}: cannot be read ({error.strerror}); {mend}.") from None
