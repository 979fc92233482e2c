"""A real cluster on this machine, one of whose workers is killed in the middle of its work."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from distributed.comm.core import CommClosedError

from slackwater.fitting import Posterior, read_season
from slackwater.fitting.squads.cluster import (
    _CONFIG,
    Cluster,
    SchedulerLostError,
    Where,
    Work,
    cluster,
)
from slackwater.fitting.squads.each import FITTED, UNCHANGED, Done, Task, fit_each, fit_one
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model import names as n
from slackwater.model.errors import QuestionError
from slackwater.model.season import Season
from tests.fitting.conftest import Fitted
from tests.fitting.squads.made import ByHand, unfitted
from tests.fitting.squads.test_each import became


def by_hand(squad: SquadFolder) -> Work:
    """Return work that finds posteriors made by hand; all but the first wait for a file."""
    made = {
        task.season.fingerprint(): done
        for task, done in ByHand().do(
            Task(name, read_season(squad.path / name).observed(), {}) for name in squad.folders
        )
    }

    def work(season: Season, how: dict[str, Any]) -> Done:
        while season.name != how["first"] and not Path(how["file"]).exists():
            time.sleep(0.05)
        return made[season.fingerprint()]

    return work


def kill_who_works(opened: Cluster, pids: dict[str, int]) -> None:
    """Kill the process of a worker that has an athlete in hand."""
    busy = next(worker for worker, held in opened.client.processing().items() if held)
    os.kill(pids[busy], signal.SIGKILL)


def lose_an_answer(opened: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the scheduler once not say who is there, as when it has just gone away."""
    answers: list[Any] = [CommClosedError("gone")]
    ask = opened.client.nthreads

    def nthreads() -> Any:
        if answers:
            raise answers.pop()
        return ask()

    monkeypatch.setattr(opened.client, "nthreads", nthreads)


@pytest.mark.parametrize(("cores", "given_up_after"), [(2, "15s"), (1, "1ms")])
def test_a_worker_that_is_killed_loses_nothing(
    cores: int, given_up_after: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Where Dask gives the only worker up, another must be started, or all would wait for ever.
    monkeypatch.setitem(_CONFIG, "distributed.deploy.lost-worker-timeout", given_up_after)
    unfitted(tmp_path, "ada", "bruno", "carla", "david")
    squad = SquadFolder(tmp_path)
    killed: list[int] = []
    go = tmp_path / "go"
    how = {"first": "ada", "file": str(go)}
    with cluster(Where(cores=cores), by_hand(squad)) as opened:
        pids = opened.client.run(os.getpid)
        lose_an_answer(opened, monkeypatch)

        def tell(done: int, of: int) -> None:
            if not killed:
                killed.append(done)
                kill_who_works(opened, pids)
                go.touch()

        outcomes = fit_each(squad, opened, how, tell)
        assert killed == [1]
        assert became(outcomes) == dict.fromkeys(squad.folders, FITTED)
        again = fit_each(squad, opened, how)
    assert became(again) == dict.fromkeys(squad.folders, UNCHANGED)


@pytest.mark.slow
def test_a_worker_fits_as_an_athlete_is_fitted_alone(demo: Fitted) -> None:
    kept = Posterior.of(fit_one(demo.season.observed(), {}).posterior, "posterior.nc")
    np.testing.assert_array_equal(kept.draws[n.NOISE_SD], demo.posterior.draws[n.NOISE_SD])
    assert kept.departures is not None


def test_a_scheduler_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("slackwater.fitting.squads.cluster.PATIENCE", 0.5)
    with pytest.raises(SchedulerLostError) as lost, cluster(Where("tcp://127.0.0.1:9")):
        pass
    assert lost.value.filename == "tcp://127.0.0.1:9"
    with (
        pytest.raises(QuestionError, match="is no scheduler"),
        cluster(Where("carrier-pigeon://x")),
    ):
        pass
