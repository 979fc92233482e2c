"""Run many independent tasks on both cores, resumably.

Each finished task is one line of JSON in a file under `.cache/studies/`, which is named after the
study and the state of the code that it runs: a study that is started again goes on with what is
missing, and results of a changed model never mix with those from before.
"""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
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
    CACHE.mkdir(parents=True, exist_ok=True)
    file = CACHE / f"{study}-{state_of(work)}.jsonl"
    done = _read(file)
    missing = [task for task in tasks if _key(task) not in done]
    if missing:
        _compute(file, work, missing, done, jobs)
    return [done[_key(task)] for task in tasks]


def _compute(
    file: Path,
    work: Callable[..., dict[str, Any]],
    missing: list[Task],
    done: dict[str, Any],
    jobs: int | None,
) -> None:
    from rich.progress import track

    workers = ProcessPoolExecutor(
        jobs or os.cpu_count(),
        get_context("spawn"),
        initializer=_quiet,
        max_tasks_per_child=TASKS_A_PROCESS,
    )
    with (
        workers as pool,
        file.open("a", encoding="utf-8") as out,
    ):
        waiting = {pool.submit(work, *task): task for task in missing}
        for finished in track(as_completed(waiting), description=file.stem, total=len(missing)):
            key = _key(waiting[finished])
            if finished.exception():
                pool.shutdown(wait=False, cancel_futures=True)
                raise RuntimeError(f"{file.stem} failed at {key}") from finished.exception()
            done[key] = finished.result()
            out.write(json.dumps({"task": key, "result": done[key]}) + "\n")
            out.flush()


def _read(file: Path) -> dict[str, Any]:
    if not file.exists():
        return {}
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {row["task"]: row["result"] for row in rows}


def _key(task: Task) -> str:
    return json.dumps(task)


def _quiet() -> None:
    warnings.simplefilter("ignore")
