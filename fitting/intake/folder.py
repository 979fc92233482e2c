"""Check a season folder, and make the season of its rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from slackwater.fitting.intake.cells import TypeRow
from slackwater.fitting.intake.checks import problems_across
from slackwater.fitting.intake.files import Understood, names_in, read_tables
from slackwater.fitting.intake.notes import notes_on, notes_on_names
from slackwater.fitting.intake.problems import Note, Problem, SeasonFilesError, abridge, show
from slackwater.fitting.intake.settings import COLUMNS_OF, SETTINGS_FILE, Settings
from slackwater.fitting.intake.tables import Table, Tables
from slackwater.fitting.text import escaped
from slackwater.model.season import Season

SEASON_FILES: Final = [SETTINGS_FILE, *(f"{name}.csv" for name in COLUMNS_OF)]
NO_READINGS: Final = "no readings"  # the kind of a problem that ends with the first reading


@dataclass(frozen=True)
class SeasonCheck:
    """What a season folder holds.

    Attributes:
        season: the season, None where there is a problem.
        problems: what must be mended first, by file, line and column; at most 20 of one
            kind in one file, then one that counts the rest.
        notes: what is allowed, yet worth saying.
        tables: the rows that the season was made from, None where there is a problem.
    """

    season: Season | None
    problems: tuple[Problem, ...]
    notes: tuple[Note, ...]
    tables: Tables | None = None


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


def check_season(folder: str | Path, before: dict[str, Understood] | None = None) -> SeasonCheck:
    """Read a season folder and return the season or all that is wrong with it.

    Args:
        folder: path of the folder with readings.csv and the files beside it.
        before: as for `files.read_tables`.
    """
    try:
        return _check(Path(folder), before)
    except SeasonFilesError as stop:
        return SeasonCheck(None, tuple(abridge(stop.problems, SEASON_FILES)), ())


def read_rows(folder: Path) -> tuple[Tables, Settings]:
    """Return a folder's rows, also before there is a reading, and its settings.

    Raises:
        SeasonFilesError: what stands in the folder is wrong; it names every problem.
    """
    names = names_in(folder)
    settings, tables = read_tables(folder)
    found = [*_no_readings(tables, names)]
    found += [problem for table in tables.each for problem in table.problems]
    if problems := [problem for problem in found if problem.kind != NO_READINGS]:
        raise SeasonFilesError(abridge(problems, SEASON_FILES))
    return tables, settings


def _check(folder: Path, before: dict[str, Understood] | None) -> SeasonCheck:
    names = names_in(folder)
    settings, tables = read_tables(folder, before)
    problems = [*_no_readings(tables, names)]
    problems += [problem for table in tables.each for problem in table.problems]
    problems += problems_across(tables)
    notes = [*notes_on_names(names, SEASON_FILES)]
    notes += [note for table in tables.each for note in table.notes]
    if problems:
        return SeasonCheck(None, tuple(abridge(problems, SEASON_FILES)), _in_order(notes))
    name = settings.name or escaped(folder.resolve().name) or "season"
    season = season_of(name, tables, settings.threshold_percent)
    return SeasonCheck(season, (), _in_order([*notes, *notes_on(tables, season)]), tables)


def _in_order(notes: list[Note]) -> tuple[Note, ...]:
    order = {file: rank for rank, file in enumerate(SEASON_FILES)}
    return tuple(sorted(notes, key=lambda note: (order.get(note.file, -1), note.line or 0)))


def _no_readings(tables: Tables, names: list[str]) -> Iterator[Problem]:
    readings = tables.readings
    if readings.problems or readings.entries:
        return
    if readings.columns:
        what, mend = "there is a header row and no reading", "write one row per night below it"
        yield Problem(readings.file, 1, 1, what, mend, NO_READINGS)
        return
    like = next(notes_on_names(names, ["readings.csv"]), None)
    write = "write one row per night into it, with the columns date and rmssd_ms"
    mend = f"rename {show(like.file)} to readings.csv" if like else write
    kind = "" if like else NO_READINGS
    yield Problem("readings.csv", 1, 1, "the file is missing", mend, kind)


def season_of(name: str, tables: Tables, threshold_percent: float | None) -> Season:
    """Return the season that a folder's rows make."""
    readings = tables.readings
    if "rmssd_ms" in readings.columns:
        value = {"rmssd_ms": np.array(readings.values("rmssd_ms"), float)}
    else:
        value = {"log_rmssd": np.array(readings.values("ln_rmssd"), float)}
    season = Season.from_tables(
        name,
        readings=_frame(readings, ["sensor", "ln_sd"]).assign(**value),
        sessions=_frame(tables.sessions, ["type", "dose"]),
        types=_types(tables.types),
        interventions=_frame(tables.interventions, ["intervention"]),
        stressors=_frame(tables.stressors, ["stressor"]),
        levels=_frame(tables.levels, []),
    )
    return replace(season, threshold_percent=threshold_percent)


def _frame(table: Table[Any], names: list[str]) -> pd.DataFrame:
    days = np.array(table.values("date"), dtype="datetime64[D]")
    return pd.DataFrame({"date": days} | {name: table.values(name) for name in names})


def _types(table: Table[TypeRow]) -> pd.DataFrame:
    columns = {"type": table.values("type")}
    for name in table.attributes:
        columns[name] = [entry.values.attributes[name] for entry in table.entries]
    return pd.DataFrame(columns, dtype=object)
