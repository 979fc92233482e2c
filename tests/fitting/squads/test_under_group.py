"""Whoever the group moves further than the draws reach is fitted again under it, once."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from slackwater.fitting import Posterior, SquadFolder
from slackwater.fitting.pooling.pool import OfGroup, pool
from slackwater.fitting.squads.each import Done, Task
from slackwater.fitting.squads.pooled import pool_squad
from slackwater.fitting.squads.under_group import FOLDER, done, kept
from slackwater.model import names as n
from slackwater.model.errors import Reason
from tests.fitting.squads.made import GROUP
from tests.fitting.squads.test_each import contents


class Again:
    """Workers who hand back the draws that there are, as if drawn under the group's priors."""

    def __init__(self, folder: Path, fails: bool = False) -> None:
        self.tasks: list[Task] = []
        self._folder, self._fails = folder, fails

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        for task in tasks:
            self.tasks.append(task)
            posterior = Posterior.load(self._folder / task.folder)
            drawn = replace(posterior, priors=task.how["priors"])
            content = b"" if self._fails else drawn.content()
            yield task, Done(content, (Reason("workers lost", times=3),) if self._fails else ())


@pytest.fixture
def copy(club: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a squad all of whom would be moved too far; who is, `test_pool` tells."""
    monkeypatch.setattr(OfGroup, "again", True)
    monkeypatch.setattr("slackwater.fitting.squads.pooled.pool", partial(pool, draws=40))  # quick
    folder = shutil.copytree(club, tmp_path / "copy")
    (folder / "squad.toml").write_text('[types]\n"long hills" = "hill run"\n')
    return folder


def test_an_athlete_is_fitted_again_once_for_each_state_of_the_squad(copy: Path) -> None:
    squad, workers = SquadFolder(copy), Again(copy)
    before = {name: contents(copy / name) for name in GROUP}
    assert pool_squad(squad, GROUP, workers, {"draws": 100}) == []
    asked = [task.folder for task in workers.tasks]
    assert asked == [*GROUP]
    for name in asked:
        posterior = kept(squad, name, Posterior.load(copy / name).fingerprint)
        assert posterior is not None
        assert posterior.priors == workers.tasks[0].how["priors"]
    assert kept(squad, asked[0], "another season's") is None
    assert {name: contents(copy / name) for name in GROUP} == before
    assert pool_squad(squad, GROUP, workers) == []
    assert [task.folder for task in workers.tasks] == asked
    # Without one of them the squad is another, and what was kept of the others is replaced.
    pool_squad(squad, GROUP[1:], workers)
    assert [task.folder for task in workers.tasks] == [*GROUP, *GROUP[1:]]
    files = sorted(path.name.split(".")[0] for path in (copy / FOLDER).iterdir())
    assert files == sorted(GROUP)


def test_a_group_believes_of_a_type_by_whatever_name_athletes_have_for_it(copy: Path) -> None:
    workers = Again(copy)
    pool_squad(SquadFolder(copy), GROUP, workers, {"draws": 100})
    how = workers.tasks[0].how
    assert how["draws"] == 100
    for quantity in (n.TYPE_LOG_DIP, n.TYPE_LOG_RATE):
        known = how["priors"].of(quantity, "hill run")
        assert known is not None
        assert how["priors"].of(quantity, "long hills") == known


def test_who_cannot_be_fitted_again_stays_as_before(copy: Path) -> None:
    squad = SquadFolder(copy)
    workers = Again(copy, fails=True)
    assert pool_squad(squad, GROUP, workers) == []
    folder = workers.tasks[0].folder
    assert not done(squad, folder, "")
    assert not [*(copy / FOLDER).iterdir()]
