"""One squad folder: season folders side by side, and what was learnt of all of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from filelock import FileLock, Timeout

from slackwater.fitting.files import alone, read_whole, stamp, write_together
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.files import names_in
from slackwater.fitting.intake.folder import SEASON_FILES
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.fitting.squads.settings import (
    SQUAD_FILE,
    SquadSettings,
    read_squad_settings,
    shown_names,
)
from slackwater.fitting.text import escaped

_FITTING: Final = ".slackwater.squad.lock"


class SquadFolder:
    """A folder of season folders, each of which stays its athlete's own.

    Nothing of one athlete is written into another's folder: what is learnt of all stands beside
    them.
    """

    def __init__(self, path: str | Path, shown: str = "") -> None:
        """Take the folder's path; nothing is read yet.

        Args:
            path: the folder.
            shown: how athletes are called, "names", "initials" or "numbers"; as squad.toml has
                it if left out.
        """
        self.path = Path(path)
        self._how = shown

    @cached_property
    def folders(self) -> tuple[str, ...]:
        """The names of the season folders, in order.

        Raises:
            SeasonFilesError: there is none, or the folder is none of a squad.
        """
        names = names_in(self.path)
        if "readings.csv" in names:
            what = "this is one athlete's season folder"
            raise self._wrong(what, "give the folder that holds the athletes' season folders")
        seen: set[Path] = set()
        found = []
        for name in sorted(names):
            folder = self.path / name
            if not name.startswith(".") and _is_season(folder) and folder.resolve() not in seen:
                seen.add(folder.resolve())
                found.append(name)
        if not found:
            what = "there is no season folder in it"
            raise self._wrong(what, "put each athlete's folder, with its readings.csv, into it")
        return tuple(found)

    def _wrong(self, what: str, mend: str) -> SeasonFilesError:
        return SeasonFilesError([Problem(str(self.path), 1, 1, what, mend)])

    @cached_property
    def settings(self) -> SquadSettings:
        """What squad.toml says.

        Raises:
            SeasonFilesError: it cannot be read; all that is wrong is named.
        """
        try:
            content = read_whole(self.path / SQUAD_FILE)
        except FileNotFoundError:
            content = b""
        except OSError as error:
            what = f"the file cannot be read ({error.strerror})"
            problem = Problem(SQUAD_FILE, 1, 1, what, "allow reading it, or mend it")
            raise SeasonFilesError([problem]) from None
        return read_squad_settings(content, self.folders)

    @property
    def name(self) -> str:
        """The squad's name."""
        return self.settings.name or escaped(self.path.resolve().name) or "squad"

    @cached_property
    def shown(self) -> dict[str, str]:
        """What is shown for each season folder."""
        return shown_names(self.folders, self.settings, self._how)

    def stamps(self) -> dict[str, Any]:
        """Return what tells that a file of the squad or of an athlete was written anew, by name.

        Raises:
            SeasonFilesError: the folder is none of a squad.
        """
        found: dict[str, Any] = {name: self.season(name).stamps() for name in self.folders}
        for name in {*names_in(self.path)} - found.keys():
            with suppress(OSError):
                found[name] = stamp(self.path / name)
        return found

    def season(self, folder: str) -> SeasonFolder:
        """Return one athlete's season folder, of which nothing is read yet."""
        return SeasonFolder(self.path / folder)

    def write(self, contents: Mapping[str, bytes]) -> None:
        """Write files beside the season folders, each whole or not at all.

        Raises:
            OSError: one cannot be written; what was there is left as it was.
        """
        with alone(self.path):
            write_together({self.path / name: content for name, content in contents.items()})

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep others from fitting this squad meanwhile.

        Raises:
            OSError: somebody does already, or the folder cannot be written to.
        """
        lock = FileLock(self.path / _FITTING, timeout=0)
        try:
            lock.acquire()
        except Timeout:
            what = "another slackwater is fitting this squad; wait until it is done"
            raise OSError(None, what, str(self.path)) from None
        try:
            yield
        finally:
            lock.release()


def _is_season(folder: Path) -> bool:
    try:
        return folder.is_dir() and any((folder / name).exists() for name in SEASON_FILES)
    except OSError:
        return True  # it is said why, where it is read
