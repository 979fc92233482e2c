"""Athletes fitted again under the group, whom it moves further than their draws alone reach.

What comes of it rests on the others too, so it is not the athlete's: it stays with the squad, in a
folder of its own, until the athlete's season changes. It is used for pooling alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from slackwater.fitting.files import new_folder, write_whole
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.squads.each import Done, Task, Workers
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.population import Population
from slackwater.model.priors import GroupPriors

FOLDER: Final = ".slackwater.group"
_OF_TYPES: Final = (n.TYPE_LOG_DIP, n.TYPE_LOG_RATE)


def state_of(fingerprints: Iterable[str]) -> str:
    """Return what tells one state of all athletes from another."""
    return sha256("\n".join(fingerprints).encode()).hexdigest()[:16]


def kept(squad: SquadFolder, folder: str, fingerprint: str) -> Posterior | None:
    """Return an athlete's posterior under the group; None where there is none of this season."""
    for path in _files(squad, folder):
        try:
            found = Posterior.read(path)
        except NoAnswerError:
            continue  # it is made again
        if found.fingerprint == fingerprint:
            return found
    return None


def done(squad: SquadFolder, folder: str, state: str) -> bool:
    """Say whether an athlete was fitted again since all athletes were in this state."""
    return _file(squad, folder, state).exists()


def fit_again(
    squad: SquadFolder,
    folders: Sequence[str],
    state: str,
    population: Population,
    workers: Workers,
    how: Mapping[str, Any],
    tell: Callable[[int, int], None] | None = None,
) -> None:
    """Fit athletes again, under what the group knows, and keep what came of each.

    Whoever cannot be fitted so is left as before.

    Args:
        squad: the squad folder.
        folders: the athletes' folders.
        state: of all athletes now.
        population: the group.
        workers: who does it.
        how: `draws` and `chains`.
        tell: called with the athletes done and those to be done.

    Raises:
        OSError: a posterior cannot be written; all that were are kept.
    """
    priors = _by_own_names(population.priors(), squad.settings.types)
    new_folder(squad.path / FOLDER)
    tasks = (
        Task(folder, squad.season(folder).season.observed(), {**how, "priors": priors})
        for folder in folders
    )
    for count, (task, came) in enumerate(workers.do(tasks), start=1):
        if _usable(came, task):
            before = _files(squad, task.folder)
            path = _file(squad, task.folder, state)
            write_whole(path, came.posterior)
            for old in before:
                if old != path:
                    old.unlink(missing_ok=True)
        if tell:
            tell(count, len(folders))


def _usable(came: Done, task: Task) -> bool:
    try:
        found = Posterior.of(came.posterior, task.folder)
    except NoAnswerError:
        return False
    return found.fingerprint == task.season.fingerprint() and found.checks.usable


def _by_own_names(priors: GroupPriors, types: Mapping[str, str]) -> GroupPriors:
    """Return what is believed of a type also under the names that athletes have for it."""
    more = tuple(
        belief._replace(label=own)
        for own, common in types.items()
        for belief in priors.labels
        if belief.quantity in _OF_TYPES and belief.label == common
    )
    return replace(priors, labels=(*priors.labels, *more))


def _file(squad: SquadFolder, folder: str, state: str) -> Path:
    return squad.path / FOLDER / f"{folder}.{state}.nc"


def _files(squad: SquadFolder, folder: str) -> list[Path]:
    """Return what is kept of an athlete."""
    try:
        every = [*(squad.path / FOLDER).iterdir()]
    except OSError:
        return []
    named = [path for path in every if path.suffix == ".nc"]
    return sorted(path for path in named if path.stem.rpartition(".")[0] == folder)
