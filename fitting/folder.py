"""One season folder: all that it holds, each thing read once, each change written whole."""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from slackwater.fitting import logbook
from slackwater.fitting.answers.forecast import coming_mornings
from slackwater.fitting.doubts.season import AS_IT_STANDS, Found, assuming, doubts_in
from slackwater.fitting.files import alone, read_whole, stamp, write_whole
from slackwater.fitting.intake.files import Understood
from slackwater.fitting.intake.folder import SeasonCheck, check_season, season_of
from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.intake.settings import COLUMNS_OF, SETTINGS_FILE
from slackwater.fitting.intake.tables import rows_through
from slackwater.fitting.keeping.confirming import confirmations
from slackwater.fitting.mornings import Mornings, keep_mornings, key_of, read_mornings
from slackwater.fitting.sampling.posterior import FILE_NAME as POSTERIOR
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.text import plural
from slackwater.model.errors import NoAnswerError, Reason, SeasonError, SlackwaterError

if TYPE_CHECKING:
    from slackwater.fitting.intake.tables import Tables
    from slackwater.fitting.keeping.row import Row
    from slackwater.fitting.records.plans import KeptPlan
    from slackwater.fitting.records.trials import AnyEvent, Trial
    from slackwater.model.errors import Reason
    from slackwater.model.season import Season

PLANS: Final = "plans.json"
TRIALS: Final = "trials.json"
_WATCHED: Final = (*(f"{name}.csv" for name in COLUMNS_OF), SETTINGS_FILE, POSTERIOR, PLANS, TRIALS)
_KEPT: Final = {POSTERIOR: "posterior", PLANS: "plans", TRIALS: "trials"}  # read from one file each


class _Before(NamedTuple):
    """The season as it was read before, and its rows that were fitted."""

    season: Season
    fitted: list[list[Any]]


class SeasonFolder(Athlete):
    """An athlete whose season, posterior, trials and plans are the files of a folder.

    What a file holds is read when it is first asked for, and kept: a process that lives longer
    answers again without reading anything, and calls `refresh` to see what others changed.
    """

    def __init__(self, path: str | Path) -> None:
        """Take the folder's path; nothing is read yet."""
        self.path = Path(path)
        self._seen = self.stamps()
        self._before: _Before | None = None
        self._files: dict[str, Understood] = {}

    def refresh(self) -> bool:
        """Let go of what rests on a file that was changed since; return whether any was."""
        stamps = self.stamps()
        changed = {name for name in _WATCHED if stamps.get(name) != self._seen.get(name)}
        self._seen = stamps
        resting = {_KEPT[name] for name in changed if name in _KEPT}
        if changed:
            resting.add("told")
        if changed - {PLANS, TRIALS}:  # all but what is read from other files alone
            own = set() if changed - _KEPT.keys() else {"season", "doubts"}
            kept = {"path", "_seen", "_before", "_fitted", "_files"}
            resting |= self.__dict__.keys() - {*kept, *_KEPT.values(), *own}
        for name in resting:
            self.__dict__.pop(name, None)
        return bool(changed)

    def stamps(self) -> dict[str, tuple[int, ...]]:
        """Return what tells that a file was written anew, by name; nothing for one not there."""
        found: dict[str, tuple[int, ...]] = {}
        for name in _WATCHED:
            with suppress(OSError):
                found[name] = stamp(self.path / name)
        return found

    @cached_property
    def checked(self) -> SeasonCheck:
        """The season, or all that keeps it from being read."""
        with suppress(SeasonError):  # whoever logs is told of a damaged record
            logbook.settle(self.path)
        _ = self._key
        return check_season(self.path, self._files)

    @cached_property
    def told(self) -> dict[Any, Any]:
        """What was told of the folder's files as they are, kept by whoever tells it again."""
        return {}

    @cached_property
    def doubts(self) -> list[Found]:
        """The rows that may not be right and that nobody confirmed; none before it can be read."""
        tables = self.checked.tables
        return doubts_in(tables, dt.date.today()) if tables else []

    @property
    def set_aside(self) -> Sequence[Reason]:
        """What was entered that can't be right, and what the season has in its place."""
        return [found.reason for found in self.doubts if found.assumed != AS_IT_STANDS]

    def confirm(self) -> logbook.Entered | None:
        """Write down that all doubtful rows are right, as one step that `undo` takes back.

        Returns:
            What that changed; None where no row is doubtful.

        Raises:
            OSError: it cannot be written; all is left as it was.
        """
        rows = confirmations(found.row for found in self.doubts)
        return self.enter(rows, f"{plural(len(rows), 'row')} said to be right") if rows else None

    @cached_property
    def season(self) -> Season:
        """The season as the files have it, but for what can't be right.

        Raises:
            SeasonFilesError: anything in the folder is wrong; it names every problem.
        """
        season, tables = self.checked.season, self.checked.tables
        if season is None or tables is None:
            raise SeasonFilesError(self.checked.problems)
        if self.set_aside:
            tables = assuming(tables, self.doubts)
            season = season_of(season.name, tables, season.threshold_percent)
        if "posterior" in self.__dict__:
            self._take_over(season, tables)
        return season

    def _take_over(self, season: Season, tables: Tables) -> None:
        """Let a season take over the fitted part from the one before, where that did not change."""
        night = self.posterior.last_night
        fitted = rows_through(tables, night.astype(object))
        before = self._before
        if before is not None and (before.fitted, before.season.name) == (fitted, season.name):
            season.take_over(before.season, night)
        self._before = _Before(season, fitted)

    @property
    def begun(self) -> bool:
        """Whether there is a file of readings."""
        return (self.path / "readings.csv").exists()

    @property
    def fitted(self) -> bool:
        """Whether there is a posterior, of whatever worth."""
        return (self.path / POSTERIOR).exists()

    @cached_property
    def posterior(self) -> Posterior:
        """The posterior that was written last.

        Raises:
            NoAnswerError: there is none, or it is damaged.
        """
        return Posterior.load(self.path)

    @property
    def departures(self) -> tuple[Reason, ...] | None:
        """What of the fitted season the model does not describe; None where that is not known."""
        if not self.fitted:
            return None
        try:
            _ = self.as_fitted  # refuses a posterior of anything else
        except NoAnswerError:
            return None
        return self.posterior.departures

    @cached_property
    def trials(self) -> Sequence[Trial]:
        """The trials of its record.

        Raises:
            SeasonError: the record cannot be read, or was changed by hand.
        """
        content = _read(self.path / TRIALS)
        if content is None:
            return []
        from slackwater.fitting.records.trials import read_trials  # slow to import

        return read_trials(content, str(self.path / TRIALS))

    @cached_property
    def plans(self) -> Sequence[KeptPlan]:
        """The plans kept, in the order in which they were.

        Raises:
            SeasonError: they cannot be read.
        """
        content = _read(self.path / PLANS)
        if content is None:
            return []
        from slackwater.fitting.records.plans import read_plans  # slow to import

        return read_plans(content, str(self.path / PLANS))

    @cached_property
    def mornings(self) -> Mornings:
        """What is foreseen of the coming mornings, kept for whoever asks again.

        Raises:
            NoAnswerError: there is no posterior, or nothing may be answered from it.
            SeasonFilesError: the season cannot be read.
        """
        if kept := read_mornings(self.path):
            return kept
        found = coming_mornings(self)
        if self._key:
            keep_mornings(self.path, found, self._key)
        return found

    def keep_in_mind(self) -> None:
        """Keep what is foreseen, where all that it takes was worked out already."""
        if "now" in self.__dict__:
            _ = self.mornings

    def foresee(self) -> None:
        """Foresee the coming mornings before somebody asks, where that was not tried yet."""
        if self.fitted and "mornings" not in self.__dict__ | self.told:
            self.told["mornings"] = None
            with suppress(SlackwaterError, OSError):
                _ = self.mornings

    @cached_property
    def _key(self) -> str | None:
        """The key of what the folder holds, taken before any of it is read."""
        return key_of(self.path)

    def enter(self, rows: Sequence[Row], what: str) -> logbook.Entered:
        """Enter rows into the season's own files, as one step that `undo` takes back.

        Args:
            rows: the rows, of any of its files, as many as there are.
            what: what they are, in a few words; `log undo` tells it.

        Raises:
            SeasonFilesError: season.toml or a file cannot be read.
            QuestionError: a row is none that its file can hold, or is there already.
            OSError: a file cannot be written; all are left as they were.
        """
        entered = logbook.enter(self.path, rows, what)
        self.refresh()
        return entered

    def undo(self) -> logbook.TakenBack:
        """Take back the last entry that was not taken back yet.

        Raises:
            NoAnswerError: there is none, or a row was changed by hand since.
            SeasonError: the record of entries cannot be read.
            OSError: a file cannot be written; all are left as they were.
        """
        taken_back = logbook.undo(self.path)
        self.refresh()
        return taken_back

    def fit(self, **how: Any) -> Posterior:
        """Sample the posterior of the season as it is now, and keep it.

        Args:
            **how: `seed`, `draws`, `chains` and `progress`, as `sampling.fit.fit` takes them.

        Raises:
            NoAnswerError: there are too few readings to learn from.
            SeasonFilesError: the season cannot be read.
            OSError: it cannot be written; the one before is left as it was.
        """
        season = self.season
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # libraries' notices to developers
            from slackwater.fitting.sampling.fit import fit  # slow to import

            posterior = fit(season, **how)
        self.learn(posterior)
        return posterior

    def learn(self, posterior: Posterior) -> Path:
        """Write a new posterior in the place of the one before and return its path.

        What of the season the model does not describe is looked for and kept with it.

        Raises:
            OSError: it cannot be written; the one before is left as it was.
        """
        path = described(self.season, posterior).save(self.path)
        self.refresh()
        return path

    def write(self, name: str, content: bytes) -> Path:
        """Write a file into the folder, in the place of one before, and return its path.

        Raises:
            OSError: it cannot be written; the one before is left as it was.
        """
        path = self.path / name
        with alone(self.path):
            write_whole(path, content)
        self.refresh()
        return path

    def record(self, event: AnyEvent) -> Path:
        """Add an event to the record of trials and return the record's path.

        Raises:
            SeasonError: the record that is there cannot be read.
            OSError: it cannot be written; what was there is left as it was.
        """
        from slackwater.fitting.records.trials import with_event

        return self._add(TRIALS, lambda content, where: with_event(content, event, where))

    def keep(self, plan: KeptPlan) -> Path:
        """Add a plan to those kept and return their file's path.

        Raises:
            SeasonError: the plans that are there cannot be read.
            OSError: it cannot be written; what was there is left as it was.
        """
        from slackwater.fitting.records.plans import with_plan

        return self._add(PLANS, lambda content, where: with_plan(content, plan, where))

    def _add(self, name: str, added: Callable[[bytes | None, str], bytes]) -> Path:
        """Write what a file of the folder becomes from what it holds, by nobody else meanwhile."""
        path = self.path / name
        with alone(self.path):
            write_whole(path, added(_read(path), str(path)))
        self.refresh()
        return path


def described(season: Season, posterior: Posterior) -> Posterior:
    """Return a new posterior with what of its season the model does not describe."""
    from slackwater.fitting.describing.residuals import residuals  # for a new fit alone

    try:
        return replace(posterior, departures=residuals(Athlete(season, posterior)).found)
    except NoAnswerError:
        return replace(posterior, departures=None)


def _read(path: Path) -> bytes | None:
    try:
        return read_whole(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        mend = "put the file that was written back in its place, or move away what is there"
        raise SeasonError(f"{path}: cannot be read ({error.strerror}); {mend}.") from None
