"""Run many independent tasks on both cores, resumably.

Each finished task is one line of JSON in a file under `.cache/studies/`, which is named after the
study and the state of the code that it runs: a study that is started again goes on with what is
missing, and results of a changed model never mix with those from before.
"""

from __future__ import annotations

import json
import math
import os
import time
import warnings
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.studies.code_state import state_of

TASKS_A_PROCESS = 80  # each fit leaves some 10 MB behind
CACHE = Path(__file__).parents[2] / ".cache" / "studies"

Task = tuple[Any, ...]


def run_all(
    study: str,
    work: Callable[..., dict[str, Any]],
    tasks: Sequence[Task],
    jobs: int | None = None,
) -> list[dict[str, Any]]:
    """Return `work(*task)` for every task, in order, computing only what is missing.

    Args:
        study: names the file with the results.
        work: a function of a module, run in a process of its own.
        tasks: arguments that JSON can hold.
        jobs: processes at once; one for each core if left out.
    """
    return [row for row in run_until(math.inf, study, work, tasks, jobs) if row is not None]


def run_until(
    end: float,
    study: str,
    work: Callable[..., dict[str, Any]],
    tasks: Sequence[Task],
    jobs: int | None = None,
) -> list[dict[str, Any] | None]:
    """Do as `run_all` does until a time, and return None for what is not done by then.

    Args:
        end: seconds since the epoch.
        study: names the file with the results.
        work: a function of a module, run in a process of its own.
        tasks: arguments that JSON can hold.
        jobs: processes at once; one for each core if left out.
    """
    CACHE.mkdir(parents=True, exist_ok=True)
    file = CACHE / f"{study}-{state_of(work)}.jsonl"
    done = _read(file)
    missing = [task for task in tasks if _key(task) not in done]
    if missing and time.time() < end:
        _compute(file, work, missing, done, jobs or os.cpu_count() or 1, end)
    return [done.get(_key(task)) for task in tasks]


def _compute(
    file: Path,
    work: Callable[..., dict[str, Any]],
    missing: list[Task],
    done: dict[str, Any],
    jobs: int,
    end: float,
) -> None:
    from rich.progress import track

    finished = _finished(work, missing, jobs)
    with file.open("a", encoding="utf-8") as out:
        for task, future in track(finished, description=file.stem, total=len(missing)):
            key = _key(task)
            if future.exception():
                finished.close()
                raise RuntimeError(f"{file.stem} failed at {key}") from future.exception()
            done[key] = future.result()
            out.write(json.dumps({"task": key, "result": done[key]}) + "\n")
            out.flush()
            if time.time() > end:
                finished.close()
                return


def _finished(
    work: Callable[..., dict[str, Any]], tasks: list[Task], jobs: int
) -> Generator[tuple[Task, Future[dict[str, Any]]], None, None]:
    """Yield tasks as they end, from new processes every so often.

    The pool's own way to renew them, `max_tasks_per_child`, hangs once tasks wait for the one
    process that ends (Python issue 115634; from memory).
    """
    batch = TASKS_A_PROCESS * jobs
    for first in range(0, len(tasks), batch):
        with ProcessPoolExecutor(jobs, get_context("spawn"), initializer=_quiet) as pool:
            waiting = {pool.submit(work, *task): task for task in tasks[first : first + batch]}
            try:
                for future in as_completed(waiting):
                    yield waiting[future], future
            finally:
                pool.shutdown(wait=False, cancel_futures=True)


def _read(file: Path) -> dict[str, Any]:
    if not file.exists():
        return {}
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {row["task"]: row["result"] for row in rows}


def _key(task: Task) -> str:
    return json.dumps(task)


def _quiet() -> None:
    warnings.simplefilter("ignore")
