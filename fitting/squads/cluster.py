"""Athletes fitted on a cluster, by Dask: this machine's cores, or a scheduler that is named.

Only the season of an athlete goes to a worker, and its posterior comes back: no disk is shared,
nothing is left behind there, and nothing goes to anybody but the scheduler's workers.
"""

from __future__ import annotations

import logging
import os
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import Any, Final

import dask
from distributed import Client, Future, KilledWorker, LocalCluster, as_completed
from distributed.core import Status
from distributed.security import Security

from slackwater.fitting.apart import ONE_THREAD
from slackwater.fitting.squads.each import Done, Task, fit_one
from slackwater.model.errors import QuestionError, Reason
from slackwater.model.season import Season

Work = Callable[[Season, dict[str, Any]], Done]

AHEAD: Final = 2  # tasks handed out for each thread, so that none waits and memory stays flat
PATIENCE: Final = 60.0  # seconds in which a scheduler that went away may come back
LOOKED_AFTER: Final = 2.0  # seconds after which it is seen whether workers are there
MOST_LOSSES: Final = 3  # times that Dask gives a task up, each after several workers died of it
# Nothing is spilled or shown, and a worker that died is no news: its task is done again.
_CONFIG: Final = {
    "distributed.scheduler.allowed-failures": 5,
    "distributed.worker.memory.target": False,
    "distributed.worker.memory.spill": False,
    "distributed.comm.timeouts.connect": "30s",
    "distributed.admin.tick.limit": "60s",  # compiling holds an interpreter for seconds
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
}


@dataclass(frozen=True)
class Where:
    """Which cluster.

    Attributes:
        scheduler: its scheduler's address; this machine's cores where that is empty.
        certificates: files for an address that begins with tls://: `ca`, `cert` and `key`.
        cores: workers on this machine; as many as it has cores if left out.
    """

    scheduler: str = ""
    certificates: tuple[str, str, str] | None = None
    cores: int | None = None


class SchedulerLostError(OSError):
    """The scheduler cannot be reached."""


class Cluster:
    """Workers of a cluster, which do tasks for as long as it is open."""

    def __init__(self, client: Client, where: Where, work: Work) -> None:
        """Take an open client of it, and what a worker does."""
        self.client, self._where, self._work = client, where, work
        self._threads = 1  # of all workers, as last heard

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        """Yield what came of each task, in whatever order.

        A task is handed out again where its worker or the scheduler was lost.

        Raises:
            SchedulerLostError: the scheduler went away and did not come back.
        """
        left = iter(tasks)
        again: list[Task] = []
        losses: Counter[str] = Counter()
        out: dict[str, Task] = {}  # by the key of the future
        running = as_completed(loop=self.client.loop)

        def hand_out() -> None:
            room = AHEAD * self._heard_threads() - len(out)
            for task in [*_taken(again, room), *islice(left, max(0, room - len(again)))]:
                future = self._submit(task)
                out[future.key] = task
                running.add(future)

        hand_out()
        while out or again:
            if not out:  # all were lost with the scheduler
                hand_out()
                continue
            future = next(running)
            task = out.pop(future.key)
            done = _came_of(future)
            if done is None:
                losses[task.folder] += future.status == "error"
                if losses[task.folder] < MOST_LOSSES:
                    again.append(task)
                    self._wait()
                else:
                    yield task, Done(b"", (Reason("workers lost", times=MOST_LOSSES),))
            else:
                yield task, done
            future.release()
            hand_out()

    def _heard_threads(self) -> int:
        with suppress(OSError):  # the scheduler has just gone away, and may come back
            self._threads = max(1, sum(self.client.nthreads().values()))
        return self._threads

    def _submit(self, task: Task) -> Future:
        given = (task.season, task.how, version("slackwater"))
        return self.client.submit(_do, self._work, *given, pure=False)

    def _wait(self) -> None:
        """Wait until the scheduler can be reached, for so long."""
        end = time.monotonic() + PATIENCE
        while self.client.status != "running":
            if time.monotonic() > end or self.client.status in ("closed", "closing"):
                raise _lost(self._where.scheduler)
            time.sleep(0.2)


@contextmanager
def cluster(where: Where, work: Work = fit_one) -> Iterator[Cluster]:
    """Open a cluster.

    Args:
        where: which one.
        work: what its workers do of a task's season, and how.

    Raises:
        QuestionError: the address makes no sense, or needs certificates.
        SchedulerLostError: there is no scheduler at the address.
    """
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    with ExitStack() as stack:
        stack.enter_context(dask.config.set(_CONFIG))
        if where.scheduler:
            client = stack.enter_context(_named(where))
        else:
            local = stack.enter_context(_of_this_machine(where.cores))
            client = stack.enter_context(Client(local, set_as_default=False))
        yield Cluster(client, where, work)


@contextmanager
def _of_this_machine(cores: int | None) -> Iterator[LocalCluster]:
    """Start a worker for each core; connections are encrypted, so that no other user can join."""
    workers = cores or os.cpu_count() or 1
    with (
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch,
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            protocol="tls://",
            security=True,
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
            silence_logs=logging.CRITICAL,
            env=ONE_THREAD,
            local_directory=scratch,
        ) as started,
        _kept_at(started, workers),
    ):
        yield started


@contextmanager
def _kept_at(local: LocalCluster, workers: int) -> Iterator[None]:
    """Start workers for those that Dask gave up.

    It starts one that died anew. But one that dies as it begins, or takes over a quarter of a
    minute to come, as where the machine is busy, it closes for good: tasks would wait for ever.
    """

    def mend() -> None:
        for name, worker in list(local.workers.items()):
            if worker.status in (Status.closed, Status.failed):
                del local.workers[name]
        local.scale(workers)  # starts whom it lacks

    def watch() -> None:
        while not over.wait(LOOKED_AFTER):
            local.loop.add_callback(mend)

    over = threading.Event()
    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    try:
        yield
    finally:
        over.set()
        watching.join()


@contextmanager
def _named(where: Where) -> Iterator[Client]:
    security: Security | None = None
    if where.certificates:
        for file in where.certificates:
            Path(file).open("rb").close()  # one that is not there is named
        ca, cert, key = where.certificates
        security = Security(
            tls_ca_file=ca, tls_client_cert=cert, tls_client_key=key, require_encryption=True
        )
    try:
        client = Client(
            where.scheduler, security=security, timeout=PATIENCE / 2, set_as_default=False
        )
    except (OSError, TimeoutError) as error:
        raise _lost(where.scheduler) from error
    except (ValueError, TypeError, RuntimeError) as error:
        raise QuestionError(
            f"{where.scheduler!r} is no scheduler that can be reached ({error}); give an address "
            "such as tls://host:8786, with its certificates."
        ) from None
    with client:
        yield client


def _lost(address: str) -> SchedulerLostError:
    what = "no scheduler answers there; whoever is fitted stays so, and the same command goes on"
    return SchedulerLostError(None, what, address)


def _taken(tasks: list[Task], count: int) -> list[Task]:
    taken = tasks[: max(0, count)]
    del tasks[: len(taken)]
    return taken


def _came_of(future: Future) -> Done | None:
    """Return what came of a task; None where its worker or the scheduler was lost."""
    if future.status == "cancelled" or future.status == "lost":
        return None
    try:
        error = future.exception()
        if error is None:
            result: Done = future.result()
            return result
    except (OSError, CancelledError):  # it went away with what it was to bring
        return None
    if isinstance(error, KilledWorker):
        return None
    return Done(b"", (Reason("fit failed", error=f"{type(error).__name__}: {error}"),))


def _do(work: Work, season: Season, how: dict[str, Any], asked_by: str) -> Done:
    """Do the work on a worker, which must be of the same version as who asks."""
    if (here := version("slackwater")) != asked_by:
        return Done(b"", (Reason("worker of another version", here=here, asked=asked_by),))
    with dask.config.set(scheduler="synchronous"):  # or xarray locks what it writes, everywhere
        return work(season, how)
