"""A line a day: one row entered, and what it means against what was foreseen.

Facts alone; kept free of pandas, as nobody waits for the answer to a number typed in. Only where
nothing that was foreseen is kept, or what is entered acts on the coming mornings, are they worked
out anew.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from slackwater.fitting import logbook
from slackwater.fitting.doubts.foreseen import Foreseen
from slackwater.fitting.files import read_whole
from slackwater.fitting.intake.cells import COLUMNS, DayRow
from slackwater.fitting.intake.csv_file import read_grid
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.fitting.intake.settings import Settings
from slackwater.fitting.intake.tables import Table, read_table
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.mornings import POSTERIOR, Morning, read_mornings
from slackwater.model.errors import NoAnswerError, Reason, SlackwaterError

if TYPE_CHECKING:
    from slackwater.fitting.answers.forecast import Forecast
    from slackwater.fitting.folder import SeasonFolder

FIRST_FIT: Final = 14  # readings that a fit takes


@dataclass(frozen=True)
class Logged:
    """One row that was entered.

    Attributes:
        season: the season's name.
        row: the row.
        date: its day.
        entered: what entering it did to the files.
        last_night: date of the last reading; None before the first.
        expected: for a reading, what was foreseen of its morning; None where nothing was.
        ahead: for what acts on the coming nights, the forecast of the next morning that shows it.
        why_not: why nothing was foreseen; empty where something was.
        first_fit: how many readings there are, where nothing was learnt yet.
    """

    season: str
    row: Row
    date: dt.date
    entered: logbook.Entered
    last_night: dt.date | None
    expected: Morning | None = None
    ahead: Forecast | None = None
    why_not: tuple[Reason, ...] = ()
    first_fit: int | None = None

    @property
    def percent(self) -> float | None:
        """How far a reading lies over what was expected, in percent; negative where under."""
        if self.expected is None:
            return None
        return 100 * (float(self.row.cells["rmssd_ms"]) / self.expected.median - 1)  # type: ignore[arg-type]


class Expected(NamedTuple):
    """What was expected of a morning.

    Attributes:
        morning: what was foreseen of it; None where nothing was.
        foreseen: the same as a distribution.
        why_not: why nothing was; empty before the first fit, too.
    """

    morning: Morning | None = None
    foreseen: Foreseen | None = None
    why_not: tuple[Reason, ...] = ()


def log_row(
    folder: Path, row: Row, what: str, right: Sequence[Row] = (), season: SeasonFolder | None = None
) -> Logged:
    """Enter a row, and say what was expected of it, or what to expect from it.

    Args:
        folder: the season folder.
        row: a reading, a session, a measure or a stressor.
        what: what it is, in a few words.
        right: rows that say that it is right, where it was doubted; entered with it.
        season: the folder's object, where the process holds one; read anew if left out.

    Raises:
        SlackwaterError, OSError: as `logbook.enter`; nothing is written then.
    """
    day = row.cells["date"]
    assert isinstance(day, dt.date)
    is_reading, fitted = row.file == "readings", (folder / POSTERIOR).exists()
    morning: Morning | None = None
    ahead: Forecast | None = None
    why: tuple[Reason, ...] = ()
    if is_reading:
        morning, _, why = expected(folder, day, season)
    rows = [row, *right]
    entered = season.enter(rows, what) if season else logbook.enter(folder, rows, what)
    if fitted and not is_reading:
        ahead, why = _ahead(folder, day, season)
    there = season.checked.tables if season else None
    nights = there.readings.values("date") if there else _nights(folder)
    last, first_fit = max(nights, default=None), None if fitted else len(nights)
    return Logged(season_name(folder), row, day, entered, last, morning, ahead, why, first_fit)


def keep_up(folder: Path) -> None:
    """Work out the next mornings as well, where what that takes was loaded for this one."""
    if "slackwater.fitting.folder" in sys.modules:
        with suppress(SlackwaterError):
            _ = _opened(folder).mornings


def tables(folder: Path, settings: Settings) -> Iterator[Table[Any]]:
    """Yield a season's files of dated rows as far as they can be read, whatever is wrong in them.

    Args:
        folder: the season folder.
        settings: what its season.toml says.
    """
    for kind in COLUMNS:
        name = f"{kind.file}.csv"
        if issubclass(kind, DayRow) and (folder / name).exists():
            try:
                grid = read_grid(name, read_whole(folder / name), settings.csv)
            except SeasonFilesError as stop:
                yield Table(name, problems=stop.problems)
                continue
            except OSError as error:
                what = f"the file cannot be read ({error.strerror})"
                yield Table(name, problems=[Problem(name, 1, 1, what, "see what `check` says")])
                continue
            yield read_table(grid, kind, settings.headers(kind.file), settings.csv.decimal)


def expected(folder: Path, day: dt.date, season: SeasonFolder | None = None) -> Expected:
    """Return what is foreseen of a morning, or why nothing is; neither before the first fit.

    Args:
        folder: the season folder.
        day: the morning.
        season: the folder's object, as for `log_row`.
    """
    if not (folder / POSTERIOR).exists():
        return Expected()
    kept = None if season else read_mornings(folder)
    if kept and (morning := kept.of(day)):
        return Expected(morning, kept.foreseen(morning))
    from slackwater.fitting.answers.forecast import coming_mornings
    from slackwater.fitting.state.ahead import FARTHEST

    season = season or _opened(folder)
    try:
        mornings = season.mornings
        last = dt.date.fromisoformat(mornings.last_night)
        if day <= last:
            facts = {"day": str(day), "last_night": mornings.last_night}
            return Expected(why_not=(Reason("before the last reading", **facts),))
        if (day - last).days > FARTHEST:
            far = Reason("farther than a forecast", last_night=mornings.last_night)
            return Expected(why_not=(far,))
        if not mornings.of(day):
            mornings = coming_mornings(season, (day - last).days)
        night = mornings.nights[(day - last).days - 1]
        return Expected(night, mornings.foreseen(night))
    except NoAnswerError as error:
        return Expected(why_not=error.reasons)
    except SeasonFilesError as error:
        return Expected(why_not=(Reason("season to be mended", count=len(error.problems)),))


def _opened(folder: Path) -> SeasonFolder:
    from slackwater.fitting.folder import SeasonFolder  # slow to import

    return SeasonFolder(folder)


def _ahead(
    folder: Path, day: dt.date, season: SeasonFolder | None
) -> tuple[Forecast | None, tuple[Reason, ...]]:
    from slackwater.fitting.answers.forecast import forecast
    from slackwater.fitting.state.ahead import FARTHEST

    season = season or _opened(folder)
    try:
        last = dt.date.fromisoformat(str(season.now.night))
        nights = max(1, (day - last).days + 1)
        if nights > FARTHEST:
            return None, (Reason("farther than a forecast", last_night=str(last)),)
        return forecast(season, nights), ()
    except NoAnswerError as error:
        return None, error.reasons
    except SeasonFilesError as error:
        return None, (Reason("season to be mended", count=len(error.problems)),)


def last_night(folder: Path) -> dt.date | None:
    """Return the date of the last reading; None before the first."""
    return max(_nights(folder), default=None)


def season_name(folder: Path) -> str:
    """Return the season's name."""
    return logbook.settings_of(folder).name or folder.resolve().name or "season"


def _nights(folder: Path) -> list[dt.date]:
    found = next(tables(folder, logbook.settings_of(folder)), None)
    return [] if found is None or found.file != "readings.csv" else found.values("date")
