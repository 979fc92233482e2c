"""Squads on a cluster: how fast, how much memory, and whether anything is ever lost.

    python -m tests.studies.squad_scale [--athletes 10 100 1000] [--pooled 100 1000] [--kills 50]

Takes about four seconds of processor time for each athlete, a minute for pooling and three for the
faults; resumes where it was stopped. Writes docs/calibration/squad-scale.md. Linux.

Athletes come from the generator of the study of squads, with half a year each, and are fitted on
two workers of this machine. What is pooled by the thousand was drawn and not fitted. Under faults,
workers hand out posteriors that were made beforehand, and take a second for each, as a fit would.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
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
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting import read_season
from slackwater.fitting.pooling.alone import MOST, Alone
from slackwater.fitting.pooling.pool import pool
from slackwater.fitting.sampling.posterior import FILE_NAME, Posterior
from slackwater.fitting.squads.cluster import Cluster, Where, cluster
from slackwater.fitting.squads.each import Done, Task, fit_each
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model import names as n
from slackwater.model.population import BY_NAME, prior_of
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.fitting.report.folders import Names, write
from tests.studies.generator import TYPES
from tests.studies.pool import run_all
from tests.studies.squad_athletes import athlete
from tests.studies.squad_scale_page import page

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "squad-scale.md"
NIGHTS: Final = 180
HOW: Final = {"draws": 100, "chains": 2}
WORKERS: Final = 2
FAULTY: Final = 30  # athletes under faults
SECONDS: Final = 1.0  # that a worker takes for each of them
TOLD: Final = 0.4  # error of what readings say of a quantity, in SDs of what is believed of one
NAMES: Final = Names(
    "hill run", "easy paddle", "dip", "effort", ("hard", "easy"), "cold", "lifting"
)


def fits(athletes: int) -> dict[str, Any]:
    """Fit so many athletes, and say how long each took to come, and what memory was held then."""
    with tempfile.TemporaryDirectory() as place:
        squad = _made(Path(place), athletes)
        rows: list[tuple[float, float, float]] = []
        begun = time.monotonic()
        with cluster(Where(cores=WORKERS)) as opened:

            def tell(done: int, of: int) -> None:
                workers = [_mebibytes(pid) for pid in _workers(opened)]
                rows.append((time.monotonic() - begun, _mebibytes(os.getpid()), max(workers)))

            outcomes = fit_each(squad, opened, HOW, tell)
    processor = sum(each.seconds for each in outcomes)
    return {"athletes": athletes, "rows": rows, "fitting": processor, "came": _became(outcomes)}


def _made(place: Path, athletes: int) -> SquadFolder:
    for number in range(athletes):
        folder = place / f"athlete-{number:04}"
        folder.mkdir()
        for name, table in athlete(900, number, NIGHTS).tables.items():
            if not table.empty:
                table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    return SquadFolder(place)


def _became(outcomes: Iterable[Any]) -> dict[str, int]:
    return dict(Counter(each.became for each in outcomes))


def _workers(opened: Cluster) -> list[int]:
    """Return the processes of the workers of this machine that live."""
    pids = [nanny.pid for nanny in list(opened.client.cluster.workers.values())]
    return [pid for pid in pids if pid is not None]


def _mebibytes(pid: int) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return 0.0  # has just ended
    return pages * resource.getpagesize() / 2**20


def pooling(athletes: int) -> dict[str, Any]:
    """Pool so many athletes, and say what it took."""
    drawn = [_alone(number) for number in range(athletes)]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    wall, processor = time.monotonic(), time.process_time()
    pooled = pool(drawn)
    return {
        "athletes": athletes,
        "seconds": time.monotonic() - wall,
        "processor": time.process_time() - processor,
        "draws": sum(each.values.nbytes for each in drawn) / 2**20,
        "before": before,
        "most": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "again": len(pooled.again),
        "noise": [float(np.median(pooled.population.means[n.NOISE_SD])), _truth(n.NOISE_SD)],
    }


def _truth(name: str) -> float:
    """Return the group's true mean of a quantity: a little off what is believed."""
    belief = prior_of(BY_NAME[name])
    return belief.mean + 0.3 * belief.sd


def _alone(number: int) -> Alone:
    """Draw an athlete's posterior, whose readings tell each quantity with the same error."""
    rng = np.random.default_rng([31, number])
    priors = Priors()
    kinds = list(TYPES)
    types = tuple(sorted(rng.choice(kinds, rng.integers(3, len(kinds) + 1), replace=False)))
    columns: list[tuple[str, str | None]] = [
        (name, None)
        for name in (
            n.NOISE_SD, n.LINGERING_ODDS, n.PERSISTENCE_ODDS, n.NOISE_TAIL, n.DRIFT_SD,
            n.SESSION_SD, n.WEEKDAY_SD, n.FIRST_NIGHT,
        )
    ]  # fmt: skip
    columns += [(name, label) for name in (n.TYPE_LOG_DIP, n.TYPE_LOG_RATE) for label in types]
    values = []
    for name, label in columns:
        belief = prior_of(BY_NAME[name])
        if label is not None:
            over = prior_of(BY_NAME[_MEANS[name]])
            belief = over._replace(sd=float(np.hypot(over.sd, belief.sd)))
        own = belief.mean + 0.3 * belief.sd + 0.5 * belief.sd * rng.standard_normal()
        error = TOLD * belief.sd
        told = own + error * rng.standard_normal()
        variance = 1 / (belief.sd**-2 + error**-2)
        mean = variance * (belief.mean / belief.sd**2 + told / error**2)
        values.append(mean + np.sqrt(variance) * rng.standard_normal(MOST))
    labels: dict[str, tuple[str, ...]] = {e.name: () for e in BY_NAME.values() if e.dim}
    labels |= {n.TYPE_LOG_DIP: types, n.TYPE_LOG_RATE: types}
    has = np.zeros((len(types), 0))
    return Alone(labels, np.stack(values, 1), tuple(columns), has, np.arange(MOST), priors)


_MEANS: Final = {n.TYPE_LOG_DIP: n.TYPE_DIP_MEAN, n.TYPE_LOG_RATE: n.TYPE_RATE_MEAN}


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
        from dataclasses import replace

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
                    living = _workers(opened)
                    if living:
                        dead.append(rng.choice(living))
                        with suppress(ProcessLookupError):
                            os.kill(dead[-1], signal.SIGKILL)

            killing = threading.Thread(target=kill)
            killing.start()
            try:
                came = _became(fit_each(faulty.squad, opened, {}))
            finally:
                over.set()
                killing.join()
        return faulty.judged(kills=len(dead), came=came)


def run_killed(kills: int) -> dict[str, Any]:
    """Kill a whole run, scheduler and all, and begin it anew; the last runs to its end."""
    with tempfile.TemporaryDirectory() as place:
        faulty = Faulty(Path(place))
        rng = random.Random(8)
        command = [sys.executable, "-m", "tests.studies.squad_scale", "--run", place]
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
                    came = _became(fit_each(faulty.squad, opened, {}))
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
        came = _became(fit_each(faulty.squad, workers, {}))
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


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Squads on a cluster.")
    parser.add_argument("--athletes", type=int, nargs="*", default=[10, 100, 1000], help="fitted")
    parser.add_argument("--pooled", type=int, nargs="*", default=[100, 1000], help="pooled")
    parser.add_argument("--kills", type=int, default=50, help="of workers")
    parser.add_argument("--run", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.run:
        _run(options.run)
        return
    text = page(
        run_all("squad-scale-fits", fits, [(count,) for count in options.athletes], 1),
        run_all("squad-scale-pooling", pooling, [(count,) for count in options.pooled], 1),
        {
            "workers": run_all("squad-scale-workers", workers_killed, [(options.kills,)], 1)[0],
            "run": run_all("squad-scale-run", run_killed, [(2,)], 1)[0],
            "scheduler": run_all("squad-scale-scheduler", scheduler_killed, [()], 1)[0],
            "disk": run_all("squad-scale-disk", disk_full, [()], 1)[0],
        },
    )
    PAGE.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
