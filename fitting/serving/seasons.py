"""The seasons that the page shows: each found by its name, kept in memory, its files watched."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.settings import COLUMNS_OF

_FILES: Final = [f"{name}.csv" for name in COLUMNS_OF]


class Seasons:
    """Season folders by name; nothing outside of them is reachable by any name."""

    def __init__(self, given: Path, clock: Callable[[], dt.date] = dt.date.today) -> None:
        """Take what the page was opened on.

        Args:
            given: a season folder, one that is to become it, or a folder of season folders.
            clock: what day it is.
        """
        self.clock = clock
        given = given.absolute()
        many = not is_season(given) and bool(_within(given))
        self.home = given if many else given.parent
        self._many = many
        self._asked = None if many else given
        self._kept: dict[str, tuple[dt.date, SeasonFolder]] = {}
        self._added: dict[str, Path] = {}
        self._seen: set[Path] = set()  # seasons that had files, and are not to be made anew
        self.told: dict[str, Any] = {}  # of all of them together, for their files as they were

    @property
    def names(self) -> list[str]:
        """The names of the seasons that there are, sorted."""
        return sorted(self._paths())

    @property
    def squad(self) -> Path | None:
        """The folder of two seasons or more that the page was opened on; None for any other."""
        return self.home if self._many and len(self.names) > 1 else None

    @property
    def to_begin(self) -> str | None:
        """The name of the folder that the page was opened on and that holds no season yet."""
        asked = self._asked
        there = asked is None or asked in self._seen or is_season(asked)
        return None if there or asked is None else asked.name

    def find(self, name: str) -> SeasonFolder | None:
        """Return a season as its files are now; None where there is none of that name.

        A season that was there and is gone is returned as it is: whatever is asked of it says so.
        """
        path = self._paths().get(name)
        before = self._kept.get(name)
        if path is None:
            return None if before is None else before[1]
        today = self.clock()
        if before is None or before[0] != today or before[1].path != path:  # doubts know the day
            self._kept[name] = today, SeasonFolder(path)
        else:
            before[1].refresh()
        if is_season(path):
            self._seen.add(path)
        return self._kept[name][1]

    def begins(self, name: str) -> bool:
        """Return whether a season is one that has no file yet and was asked for."""
        path = self._paths().get(name)
        return path is not None and path not in self._seen and not is_season(path)

    def gone(self, name: str) -> bool:
        """Return whether a season was there, and its folder is not where it was."""
        kept = self._kept.get(name)
        return kept is not None and kept[1].path in self._seen and not kept[1].path.is_dir()

    def add(self, name: str) -> SeasonFolder:
        """Return a season folder beside the others that is to be shown from now on."""
        self._added[name] = self.home / name
        self._kept.pop(name, None)
        return SeasonFolder(self.home / name)

    def _paths(self) -> dict[str, Path]:
        found = {path.name: path for path in _within(self.home)} if self._many else {}
        found |= self._added
        if self._asked is not None and is_season(self._asked):
            found[self._asked.name] = self._asked
        return found


def is_season(folder: Path) -> bool:
    """Return whether a folder holds a file of a season."""
    return any((folder / name).exists() for name in _FILES)


def _within(folder: Path) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if path.is_dir() and is_season(path)]
    except OSError:
        return []
