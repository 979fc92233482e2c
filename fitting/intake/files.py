"""Read a folder's files into rows: the only module of the intake that touches the disk."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any, Final, NamedTuple

from slackwater.fitting.files import read_whole
from slackwater.fitting.intake.cells import (
    ConfirmedRow,
    InterventionRow,
    LevelRow,
    ReadingRow,
    SessionRow,
    StressorRow,
    TypeRow,
)
from slackwater.fitting.intake.csv_file import read_grid
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.fitting.intake.settings import SETTINGS_FILE, Settings, read_settings
from slackwater.fitting.intake.tables import AnyRow, Table, Tables, read_table
from slackwater.fitting.text import escaped
from slackwater.model.errors import nearest

# How to mend what keeps a file from being read, by the number of the system's error.
_MENDS: Final = {
    errno.EISDIR: "move it away, and put the file in its place",
    errno.ENOTSUP: "put a plain file in its place, or take it away",
    errno.EFBIG: "see whether it is the right file, and leave in it what belongs to this season",
    errno.ELOOP: "the links lead in a circle; put the file itself in its place",
}


def names_in(folder: Path) -> list[str]:
    """Return the names of a folder's files.

    Raises:
        SeasonFilesError: the path leads to no folder, and it names the one that was likely meant;
            or it cannot be read.
    """
    try:
        return [path.name for path in folder.iterdir()]
    except FileNotFoundError:
        what, mend = "there is no such folder", _likely(folder)
    except NotADirectoryError:
        what, mend = "this is a file, not a folder", "give the folder that holds it"
    except OSError as err:
        what, mend = f"the folder cannot be read ({err.strerror})", "allow reading it"
    raise SeasonFilesError([Problem(str(folder), 1, 1, what, mend)])


def likely_season(folder: Path) -> Path | None:
    """Return the season folder beside a path that is likely meant by it, None where none is."""
    try:
        beside = [path.parent.name for path in folder.parent.glob(f"*/{ReadingRow.file}.csv")]
    except OSError:
        return None
    like = nearest(folder.name, beside)
    return None if like is None else folder.parent / like


def _likely(folder: Path) -> str:
    like = likely_season(folder)
    shown = like and escaped(str(like))
    return f"did you mean {shown}?" if shown else "give the folder that holds readings.csv"


class Understood(NamedTuple):
    """A file as it was understood before."""

    data: bytes
    settings: Settings
    table: Table[Any]


def read_tables(
    folder: Path, before: dict[str, Understood] | None = None
) -> tuple[Settings, Tables]:
    """Return how a folder's files are written, and their rows with all that is wrong in them.

    Args:
        folder: the folder.
        before: each file as it was understood before, by name, which is kept up to date; a file
            that holds the same is not taken apart again.

    Raises:
        SeasonFilesError: season.toml cannot be read.
    """
    settings = read_settings(_bytes(folder / SETTINGS_FILE) or b"")
    known = {} if before is None else before

    def table(row: type[AnyRow]) -> Table[AnyRow]:
        file = f"{row.file}.csv"
        try:
            data = _bytes(folder / file)
            if data is None:
                return Table(file)
            if file in known and known[file][:2] == (data, settings):
                return known[file].table
            grid = read_grid(file, data, settings.csv)
        except SeasonFilesError as stop:
            return Table(file, problems=stop.problems)
        found = read_table(grid, row, settings.headers(row.file), settings.csv.decimal)
        known[file] = Understood(data, settings, found)
        return found

    tables = Tables(
        table(ReadingRow),
        table(SessionRow),
        table(TypeRow),
        table(InterventionRow),
        table(StressorRow),
        table(LevelRow),
        table(ConfirmedRow),
    )
    return settings, tables


def _bytes(path: Path) -> bytes | None:
    """Return a file's bytes, None where there is no such file."""
    try:
        return read_whole(path)
    except FileNotFoundError:
        if path.is_symlink():
            what, mend = "this is a link to nothing", "put the file in its place, or delete it"
            raise SeasonFilesError([Problem(path.name, 1, 1, what, mend)]) from None
        return None
    except OSError as err:
        what = f"the file cannot be read ({err.strerror})"
        mend = _MENDS.get(err.errno or 0, "allow reading it, or mend it")
        raise SeasonFilesError([Problem(path.name, 1, 1, what, mend)]) from None
