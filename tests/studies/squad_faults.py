"""Faults of a cluster: workers, runs and schedulers killed, a disk that is full.

Part of the study of squads on a cluster (`python -m tests.studies.squad_scale`).
"""

from __future__ import annotations

import os
import random
import resource
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Final

from slackwater.fitting import read_season
from slackwater.fitting.sampling.posterior import FILE_NAME, Posterior
from slackwater.fitting.squads.cluster import Cluster, Where, cluster
from slackwater.fitting.squads.each import Done, Task, fit_each
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.season import Season
from tests.fitting.report.folders import Names, write

WORKERS: Final = 2
FAULTY: Final = 30  # athletes under faults
SECONDS: Final = 1.0  # that a worker takes for each of them
NAMES: Final = Names(
    "hill run", "easy paddle", "dip", "effort", ("hard", "easy"), "cold", "lifting"
)


def became(outcomes: Iterable[Any]) -> dict[str, int]:
    return dict(Counter(each.became for each in outcomes))


def workers_of(opened: Cluster) -> list[int]:
    """Return the processes of the workers of this machine that live."""
    pids = [nanny.pid for nanny in list(opened.client.cluster.workers.values())]
    return [pid for pid in pids if pid is not None]


class Faulty:
    """A squad of which nobody is fitted, and workers who note what they begin.

    Attributes:
        squad: the squad folder.
        place: the folder above it, which holds what workers hand out.
    """

    def __init__(self, place: Path, make: bool = True) -> None:
        """Take a folder, and make the squad in it."""
        self.place = place
        if make:
            for number in range(FAULTY):
                folder = place / "squad" / f"athlete-{number:02}"
                folder.mkdir(parents=True)
                write(folder, NAMES)
                _shift(folder / "readings.csv", number)
                fingerprint = read_season(folder).observed().fingerprint()
                self._seal(folder / FILE_NAME, fingerprint)
        self.squad = SquadFolder(place / "squad")

    def _seal(self, posterior: Path, fingerprint: str) -> None:
        """Put a posterior away, as that of the season with this fingerprint."""
        whole = replace(Posterior.load(posterior.parent), fingerprint=fingerprint)
        (self.place / fingerprint).write_bytes(whole.content())
        posterior.unlink()

    @property
    def work(self) -> Callable[[Season, dict[str, Any]], Done]:
        """What a worker does."""
        return partial(_hand_out, str(self.place))

    def begun(self) -> int:
        """Return how many fits were begun."""
        with suppress(FileNotFoundError):
            return len((self.place / "begun").read_text(encoding="utf-8").split())
        return 0

    def judged(self, **more: Any) -> dict[str, Any]:
        """Return what is kept, and how often fits were begun."""
        whole = 0
        for name in self.squad.folders:
            folder = self.squad.path / name
            fingerprint = read_season(folder).observed().fingerprint()
            with suppress(FileNotFoundError):  # left out
                kept = (folder / FILE_NAME).read_bytes()
                whole += kept == (self.place / fingerprint).read_bytes()
        unfinished = [p.name for p in self.squad.path.rglob(".unfinished-*")]
        facts = {"athletes": FAULTY, "whole": whole, "begun": self.begun()}
        return {**facts, "unfinished": len(unfinished), **more}


def _hand_out(place: str, season: Season, how: dict[str, Any]) -> Done:
    with (Path(place) / "begun").open("a", encoding="utf-8") as file:
        file.write(f"{season.fingerprint()}\n")
    time.sleep(SECONDS)
    return Done((Path(place) / season.fingerprint()).read_bytes())


def _shift(readings: Path, by: int) -> None:
    """Make an athlete's readings others than everybody else's."""
    head, *rows = readings.read_text(encoding="utf-8").splitlines()
    moved = [f"{date},{float(value) + by}" for date, value in (row.split(",") for row in rows)]
    readings.write_text("\n".join([head, *moved, ""]), encoding="utf-8")


def workers_killed(kills: int) -> dict[str, Any]:
    """Kill workers at random moments of a run."""
    with tempfile.TemporaryDirectory() as place:
        faulty = Faulty(Path(place))
        dead: list[int] = []
        over = threading.Event()
        with cluster(Where(cores=WORKERS), faulty.work) as opened:

            def kill() -> None:
                rng = random.Random(7)
                while len(dead) < kills and not over.wait(rng.uniform(0.3, 2.0)):
                    living = workers_of(opened)
                    if living:
                        dead.append(rng.choice(living))
                        with suppress(ProcessLookupError):
                            os.kill(dead[-1], signal.SIGKILL)

            killing = threading.Thread(target=kill)
            killing.start()
            try:
                came = became(fit_each(faulty.squad, opened, {}))
            finally:
                over.set()
                killing.join()
        return faulty.judged(kills=len(dead), came=came)


def run_killed(kills: int) -> dict[str, Any]:
    """Kill a whole run, scheduler and all, and begin it anew; the last runs to its end."""
    with tempfile.TemporaryDirectory() as place:
        faulty = Faulty(Path(place))
        rng = random.Random(8)
        command = [sys.executable, "-m", "tests.studies.squad_faults", place]
        for _ in range(kills):
            before = faulty.begun()
            run = subprocess.Popen(command, start_new_session=True)
            while faulty.begun() < before + rng.randint(4, 8) and run.poll() is None:
                time.sleep(0.1)
            time.sleep(rng.random() * SECONDS)
            os.killpg(run.pid, signal.SIGKILL)
            run.wait()
        subprocess.run(command, check=True)
        return faulty.judged(kills=kills)


def _run(place: str) -> None:
    """Fit the squad that is there, to its end."""
    faulty = Faulty(Path(place), make=False)
    with cluster(Where(cores=WORKERS), faulty.work) as opened:
        fit_each(faulty.squad, opened, {})


def scheduler_killed() -> dict[str, Any]:
    """Kill the scheduler of a cluster that is named, and start another at its address."""
    with tempfile.TemporaryDirectory() as place:
        faulty = Faulty(Path(place))
        port = _free_port()
        with _scheduler(port, place) as first:

            def kill() -> None:
                while faulty.begun() < FAULTY // 3:
                    if over.wait(0.1):
                        return
                for process in first:
                    process.kill()
                stack.append(_started(port, place))

            stack: list[list[subprocess.Popen[bytes]]] = []
            over = threading.Event()
            killing = threading.Thread(target=kill)
            killing.start()
            try:
                with cluster(Where(f"tcp://127.0.0.1:{port}"), faulty.work) as opened:
                    came = became(fit_each(faulty.squad, opened, {}))
            finally:
                over.set()
                killing.join()
                for process in [p for started in stack for p in started]:
                    process.kill()
                    process.wait()
        return faulty.judged(kills=1, came=came)


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def _scheduler(port: int, place: str) -> Iterator[list[subprocess.Popen[bytes]]]:
    started = _started(port, place)
    try:
        yield started
    finally:
        for process in started:
            process.kill()
            process.wait()


def _started(port: int, place: str) -> list[subprocess.Popen[bytes]]:
    """Start a scheduler and its workers."""
    address = f"tcp://127.0.0.1:{port}"
    one = ["--nthreads", "1", "--no-dashboard", "--no-nanny", "--local-directory", place]
    commands = [
        ["scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"],
        *[["worker", address, *one] for _ in range(WORKERS)],
    ]
    return [
        subprocess.Popen(
            [sys.executable, "-m", "dask", *command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for command in commands
    ]


def disk_full() -> dict[str, Any]:
    """Let no file grow as large as a posterior after the first few were written, then go on."""
    with tempfile.TemporaryDirectory() as place:
        faulty = Faulty(Path(place))
        limit = resource.getrlimit(resource.RLIMIT_FSIZE)
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # then writing fails, as on a full disk
        room, refused = FAULTY // 3, ""

        def fill(done: int, of: int) -> None:
            if done == room:
                size = min(p.stat().st_size for p in Path(place).iterdir() if p.is_file())
                resource.setrlimit(resource.RLIMIT_FSIZE, (size // 2, limit[1]))

        try:
            fit_each(faulty.squad, _AtOnce(Path(place)), {}, fill)
        except OSError as error:
            refused = str(error)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limit)
        kept = sum((faulty.squad.path / f / FILE_NAME).exists() for f in faulty.squad.folders)
        workers = _AtOnce(Path(place))
        came = became(fit_each(faulty.squad, workers, {}))
        told = refused.replace(place, "")
        return faulty.judged(kills=0, came=came, refused=told, kept=kept, later=workers.asked)


class _AtOnce:
    """Workers who hand out what was made beforehand, in this process."""

    def __init__(self, place: Path) -> None:
        self.place, self.asked = place, 0

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        for task in tasks:
            self.asked += 1
            yield task, Done((self.place / task.season.fingerprint()).read_bytes())


if __name__ == "__main__":
    _run(sys.argv[1])
