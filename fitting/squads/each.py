"""Each athlete of a squad fitted alone: whoever changed, wherever there is room, one by one.

What is done for one athlete rests on that athlete's files alone and is written whole, so that it
can be stopped at any moment, done twice, or lost, without anything else being touched.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, Protocol

import numpy as np

from slackwater.fitting.folder import described
from slackwater.fitting.sampling.posterior import FILE_NAME, Posterior
from slackwater.fitting.squads.answer import as_shown, why_not
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.errors import NoAnswerError, Reason, SeasonError
from slackwater.model.season import Season

FITTED: Final = "fitted"
UNCHANGED: Final = "unchanged"
LEFT_OUT: Final = "left out"


class Task(NamedTuple):
    """What is to be done for one athlete.

    Attributes:
        folder: the athlete's folder, by its name in the squad's.
        season: what is fitted.
        how: `draws`, `chains` and `priors`, as `sampling.fit.fit` takes them.
    """

    folder: str
    season: Season
    how: dict[str, Any]


class Done(NamedTuple):
    """What came of a task.

    Attributes:
        posterior: the posterior as its file holds it; empty where there is none.
        why: why there is none.
        seconds: what it took, where it was done.
    """

    posterior: bytes
    why: tuple[Reason, ...] = ()
    seconds: float = 0.0


class Workers(Protocol):
    """Whoever does tasks."""

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        """Yield what came of each task, in whatever order; tasks are taken as there is room."""


@dataclass(frozen=True)
class Outcome:
    """What became of one athlete.

    Attributes:
        folder: the athlete's folder.
        became: "fitted", "unchanged" or "left out".
        why: why left out; otherwise what to mind with the fit.
        seconds: what the fit took.
        last_night: the morning of the last reading fitted; None where left out.
    """

    folder: str
    became: str
    why: tuple[Reason, ...] = ()
    seconds: float = 0.0
    last_night: np.datetime64 | None = None


def fit_one(season: Season, how: dict[str, Any]) -> Done:
    """Fit a season on one core and return its posterior, as its file would hold it."""
    import warnings

    begun = time.monotonic()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # libraries' notices to developers
            from slackwater.fitting.sampling.fit import fit  # slow to import

            posterior = described(season, fit(season, cores=1, **how))
    except NoAnswerError as error:
        return Done(b"", error.reasons)
    return Done(posterior.content(), (), time.monotonic() - begun)


class InTurn:
    """Workers of this process alone, which does one task after another."""

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        """Yield what came of each task."""
        for task in tasks:
            yield task, fit_one(task.season, task.how)


def fit_each(
    squad: SquadFolder,
    workers: Workers,
    how: dict[str, Any],
    tell: Callable[[int, int], None] | None = None,
) -> list[Outcome]:
    """Fit every athlete whose season changed since the last fit, each into its own folder.

    Args:
        squad: the squad folder.
        workers: who does it.
        how: `draws` and `chains`.
        tell: called with the athletes done and all athletes.

    Returns:
        What became of each athlete, in the squad's order.

    Raises:
        OSError: a posterior cannot be written; all that were are kept.
    """
    came: dict[str, Outcome] = {}

    def note(outcome: Outcome) -> None:
        came[outcome.folder] = outcome
        if tell:
            tell(len(came), len(squad.folders))

    def tasks() -> Iterator[Task]:
        for folder in squad.folders:
            found = _what_to_do(squad, folder)
            if isinstance(found, Outcome):
                note(found)
            else:
                yield Task(folder, found, how)

    for task, done in workers.do(tasks()):
        note(_kept(squad, task, done))
    return [came[folder] for folder in squad.folders]


def _what_to_do(squad: SquadFolder, folder: str) -> Season | Outcome:
    """Return what is to be fitted, or what became of an athlete for whom nothing is to be done."""
    athlete = squad.season(folder)
    try:
        season = athlete.season.observed()
    except (SeasonError, OSError) as error:
        return Outcome(folder, LEFT_OUT, why_not(error, squad.shown[folder]))
    try:
        posterior = athlete.posterior
    except NoAnswerError:  # there is none, or none that may be used
        return season
    if posterior.fingerprint != season.fingerprint():
        return season
    minds = tuple(posterior.checks.complaints)
    return Outcome(folder, UNCHANGED, minds, last_night=posterior.last_night)


def _kept(squad: SquadFolder, task: Task, done: Done) -> Outcome:
    """Write what came of a task into the athlete's own folder."""
    shown = squad.shown[task.folder]
    if not done.posterior:
        return Outcome(task.folder, LEFT_OUT, as_shown(done.why, shown))
    try:
        posterior = Posterior.of(done.posterior, FILE_NAME)
    except NoAnswerError as error:
        return Outcome(task.folder, LEFT_OUT, error.reasons)
    if posterior.fingerprint != task.season.fingerprint():
        return Outcome(task.folder, LEFT_OUT, (Reason("came back of another season"),))
    squad.season(task.folder).write(FILE_NAME, done.posterior)
    minds = tuple(posterior.checks.complaints)
    return Outcome(task.folder, FITTED, minds, done.seconds, posterior.last_night)
