"""Read a season folder: the only module of the intake that touches the disk."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from slackwater.fitting.files import read_whole
from slackwater.fitting.intake.cells import (
    InterventionRow,
    ReadingRow,
    SessionRow,
    StressorRow,
    TypeRow,
)
from slackwater.fitting.intake.checks import problems_across
from slackwater.fitting.intake.csv_file import read_grid
from slackwater.fitting.intake.notes import notes_on, notes_on_names
from slackwater.fitting.intake.problems import Note, Problem, SeasonFilesError, abridge, show
from slackwater.fitting.intake.settings import (
    COLUMNS_OF,
    SETTINGS_FILE,
    Settings,
    read_settings,
)
from slackwater.fitting.intake.tables import AnyRow, Table, Tables, read_table
from slackwater.fitting.text import escaped
from slackwater.model.errors import nearest
from slackwater.model.season import Season

SEASON_FILES: Final = [SETTINGS_FILE, *(f"{name}.csv" for name in COLUMNS_OF)]

# How to mend what keeps a file from being read, by the number of the system's error.
_MENDS: Final = {
    errno.EISDIR: "move it away, and put the file in its place",
    errno.ENOTSUP: "put a plain file in its place, or take it away",
    errno.EFBIG: "see whether it is the right file, and leave in it what belongs to this season",
    errno.ELOOP: "the links lead in a circle; put the file itself in its place",
}


@dataclass(frozen=True)
class SeasonCheck:
    """What a season folder holds.

    Attributes:
        season: the season, None where there is a problem.
        problems: what must be mended first, by file, line and column; at most 20 of one
            kind in one file, then one that counts the rest.
        notes: what is allowed, yet worth saying.
    """

    season: Season | None
    problems: tuple[Problem, ...]
    notes: tuple[Note, ...]


def read_season(folder: str | Path) -> Season:
    """Return the season that a folder holds.

    Args:
        folder: path of the folder with readings.csv and the files beside it.

    Raises:
        SeasonFilesError: anything in the folder is wrong; it names every problem.
    """
    check = check_season(folder)
    if check.season is None:
        raise SeasonFilesError(check.problems)
    return check.season


def check_season(folder: str | Path) -> SeasonCheck:
    """Read a season folder and return the season or all that is wrong with it.

    Args:
        folder: path of the folder with readings.csv and the files beside it.
    """
    try:
        return _check(Path(folder))
    except SeasonFilesError as stop:
        return SeasonCheck(None, tuple(abridge(stop.problems, SEASON_FILES)), ())


def _check(folder: Path) -> SeasonCheck:
    names = _names_in(folder)
    settings = read_settings(_bytes(folder / SETTINGS_FILE) or b"")
    tables = _tables(folder, settings, names)
    problems = [problem for table in tables.each for problem in table.problems]
    problems += problems_across(tables)
    notes = [*notes_on_names(names, SEASON_FILES)]
    notes += [note for table in tables.each for note in table.notes]
    if problems:
        return SeasonCheck(None, tuple(abridge(problems, SEASON_FILES)), _in_order(notes))
    season = _season(settings.name or escaped(folder.resolve().name) or "season", tables)
    return SeasonCheck(season, (), _in_order([*notes, *notes_on(tables, season)]))


def _in_order(notes: list[Note]) -> tuple[Note, ...]:
    order = {file: rank for rank, file in enumerate(SEASON_FILES)}
    return tuple(sorted(notes, key=lambda note: (order.get(note.file, -1), note.line or 0)))


def require_folder(folder: Path) -> None:
    """Refuse a path that leads to no folder.

    Raises:
        SeasonFilesError: it does not; it names the folder that was likely meant.
    """
    _names_in(folder)


def _names_in(folder: Path) -> list[str]:
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


def _tables(folder: Path, settings: Settings, names: list[str]) -> Tables:
    def table(row: type[AnyRow]) -> Table[AnyRow]:
        file = f"{row.file}.csv"
        try:
            data = _bytes(folder / file)
            if data is None:
                return Table(file)
            grid = read_grid(file, data, settings.csv)
        except SeasonFilesError as stop:
            return Table(file, problems=stop.problems)
        return read_table(grid, row, settings.headers(row.file), settings.csv.decimal)

    readings = table(ReadingRow)
    if not readings.columns and not readings.problems:
        readings.problems.append(_missing_readings(names))
    elif not readings.entries and not readings.problems:
        what, mend = "there is a header row and no reading", "write one row per night below it"
        readings.problems.append(Problem(readings.file, 1, 1, what, mend))
    return Tables(
        readings,
        table(SessionRow),
        table(TypeRow),
        table(InterventionRow),
        table(StressorRow),
    )


def _missing_readings(names: list[str]) -> Problem:
    like = next(notes_on_names(names, ["readings.csv"]), None)
    write = "write one row per night into it, with the columns date and rmssd_ms"
    mend = f"rename {show(like.file)} to readings.csv" if like else write
    return Problem("readings.csv", 1, 1, "the file is missing", mend)


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


def _season(name: str, tables: Tables) -> Season:
    readings = tables.readings
    if "rmssd_ms" in readings.columns:
        value = {"rmssd_ms": np.array(readings.values("rmssd_ms"), float)}
    else:
        value = {"log_rmssd": np.array(readings.values("ln_rmssd"), float)}
    return Season.from_tables(
        name,
        readings=_frame(readings, ["sensor", "ln_sd"]).assign(**value),
        sessions=_frame(tables.sessions, ["type", "dose"]),
        types=_types(tables.types),
        interventions=_frame(tables.interventions, ["intervention"]),
        stressors=_frame(tables.stressors, ["stressor"]),
    )


def _frame(table: Table[Any], names: list[str]) -> pd.DataFrame:
    days = np.array(table.values("date"), dtype="datetime64[D]")
    return pd.DataFrame({"date": days} | {name: table.values(name) for name in names})


def _types(table: Table[TypeRow]) -> pd.DataFrame:
    columns = {"type": table.values("type")}
    for name in table.attributes:
        columns[name] = [entry.values.attributes[name] for entry in table.entries]
    return pd.DataFrame(columns, dtype=object)
