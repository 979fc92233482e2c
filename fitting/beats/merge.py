"""The nights of files set against the readings of a season, and the rows that follow."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist
from typing import Final

import numpy as np

from slackwater.fitting.answers.answer import About, Answer
from slackwater.fitting.answers.intervals import Interval, check_level
from slackwater.fitting.beats.many import Progress, Refused, files_in, measure_all
from slackwater.fitting.beats.night import Asked, Measured, Night, measure
from slackwater.fitting.intake.cells import ReadingRow
from slackwater.fitting.keeping.row import Cell, Row
from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.season import Season

NEW: Final = "new"
SAME: Final = "same"
REPLACED: Final = "replaced"
OLD_KEPT: Final = "old kept"
MS_DIGITS: Final = 2  # of a reading as it is written
LN_DIGITS: Final = 4
DEFAULT_LEVEL: Final = 0.8


@dataclass(frozen=True)
class NightEntry(Night):
    """A night and what becomes of it in readings.csv.

    Attributes:
        range_ms: how exactly its RMSSD is known.
        outcome: `new`, `same`, `replaced`, or `old kept` where another reading stands there.
        was_ms: the reading that stood there; None where there was none.
    """

    range_ms: Interval
    outcome: str
    was_ms: float | None

    def clock(self, hours: float) -> str:
        """Return the local clock so many hours after the start, "22:48"."""
        at = dt.datetime.fromisoformat(self.starts or "") + dt.timedelta(hours=hours)
        return at.strftime("%H:%M")


@dataclass(frozen=True)
class Beats(Answer):
    """The readings that files of beats give.

    Attributes:
        nights: one for each file that gives a reading, in the order of their dates.
        refused: the files that give none.
        passed_over: names of files in the folder that are not taken for nights.
        doubts: what is unlikely among the readings that are to be entered.
        written: whether the nights were entered into readings.csv.
        picture: where a picture of the night was written; None where none was asked for.
    """

    nights: tuple[NightEntry, ...]
    refused: tuple[Refused, ...]
    passed_over: tuple[str, ...]
    doubts: tuple[Reason, ...] = ()
    written: bool = False
    picture: str | None = None

    @property
    def replaced(self) -> set[dt.date]:
        """The nights whose readings take the place of others."""
        return {night.date for night in self.nights if night.outcome == REPLACED}

    def rows(self, sensor: str = "") -> list[ReadingRow]:
        """Return the readings that are to be entered.

        Args:
            sensor: what they were recorded with; empty where that is not told.
        """
        return [
            ReadingRow(
                night.date,
                rmssd_ms=round(night.rmssd_ms, MS_DIGITS),
                sensor=sensor,
                ln_sd=round(night.ln_sd, LN_DIGITS),
            )
            for night in self.nights
            if night.outcome in (NEW, REPLACED)
        ]

    def entries(self, sensor: str = "") -> list[Row]:
        """Return the same as rows to be entered into readings.csv."""
        made = []
        for row in self.rows(sensor):
            assert row.rmssd_ms is not None
            cells: dict[str, Cell] = {"date": row.date, "rmssd_ms": row.rmssd_ms}
            cells["ln_sd"] = row.ln_sd
            if row.sensor:
                cells["sensor"] = row.sensor
            made.append(Row(row.file, cells, row.date in self.replaced))
        return made

    @property
    def called(self) -> str:
        """What entering them is called."""
        count = len(self.rows())
        return "beats of a night" if count == 1 else f"beats of {count} nights"


def read_beats(
    season: Season | None,
    source: str | Path,
    asked: Asked = Asked(),  # noqa: B008
    *,
    replaces: bool = False,
    level: float = DEFAULT_LEVEL,
    progress: Progress | None = None,
    seen: Callable[[Measured], None] | None = None,
) -> Beats:
    """Return the readings that a file of beats gives, or a folder of them; nothing is written.

    Args:
        season: the season that they belong to; None where it has no reading yet.
        source: the file of a night's beats, or a folder of such files.
        asked: how they are to be read.
        replaces: whether they take the place of readings of the same nights.
        level: credible mass of every interval.
        progress: called with the files done and the files in all.
        seen: called with the night of a single file and its beats.

    Raises:
        RecordingError: the file cannot be read, or the folder holds none.
        NoAnswerError: too few of the file's beats can be kept.
        QuestionError: the window does not fit the file, or the level is no credible mass.
    """
    check_level(level)
    path = Path(source)
    refused: list[Refused] = []
    passed_over: list[str] = []
    if path.is_dir():
        files, passed_over = files_in(path)
        nights, refused = measure_all(files, asked, progress)
    else:
        measured = measure(path, asked)
        nights = [measured.night]
        if seen is not None:
            seen(measured)
    there = {} if season is None else _readings(season)
    entries = [_entry(night, there.get(night.date), replaces, level) for night in nights]
    last = max([*there, *(entry.date for entry in entries)], default=None)
    about = About(
        season.name if season else "",
        np.datetime64(last or "NaT", "D"),
        level,
        _together(mind for night in nights for mind in night.minds),
    )
    return Beats(about, tuple(entries), tuple(refused), tuple(passed_over))


def _together(minds: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return what is to be minded with all nights, once, with the nights that it is said of."""
    dates: dict[str, list[str]] = {}
    first: dict[str, Reason] = {}
    for mind in minds:
        first.setdefault(mind.code, mind)
        dates.setdefault(mind.code, []).extend(mind.facts["dates"])
    return tuple(mind.among(dates=dates[code]) for code, mind in first.items())


def _entry(night: Night, was_ms: float | None, replaces: bool, level: float) -> NightEntry:
    if was_ms is None:
        outcome = NEW
    elif abs(was_ms - night.rmssd_ms) < 0.51 * 10**-MS_DIGITS:
        outcome = SAME
    else:
        outcome = REPLACED if replaces else OLD_KEPT
    reach = NormalDist().inv_cdf((1 + level) / 2) * night.ln_sd
    low, high = (float(night.rmssd_ms * np.exp(side * reach)) for side in (-1, 1))
    range_ms = Interval(low, night.rmssd_ms, high)
    return NightEntry(**vars(night), range_ms=range_ms, outcome=outcome, was_ms=was_ms)


def _readings(season: Season) -> Mapping[dt.date, float]:
    """Return the readings that there are, ms, by morning."""
    logs = season.data[n.LOG_RMSSD].values
    return {
        night.item(): float(np.exp(value))
        for night, value in zip(season.nights, logs, strict=True)
        if np.isfinite(value)
    }
