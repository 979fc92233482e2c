"""Run many independent tasks on both cores, resumably.

Each finished task is one line of JSON in a file under `.cache/studies/`; a study that is
started again goes on with what is missing. Delete the file to begin anew.
"""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

CACHE = Path(__file__).parents[2] / ".cache" / "studies"

Task = tuple[Any, ...]


def run_all(
    study: str, work: Callable[..., dict[str, Any]], tasks: Sequence[Task]
) -> list[dict[str, Any]]:
    """Return `work(*task)` for every task, in order, computing only what is missing.

    Args:
        study: names the file with the results.
        work: a function of a module, run in a process of its own.
        tasks: arguments that JSON can hold.
    """
    CACHE.mkdir(parents=True, exist_ok=True)
    file = CACHE / f"{study}.jsonl"
    done = _read(file)
    missing = [task for task in tasks if _key(task) not in done]
    if missing:
        _compute(file, work, missing, done)
    return [done[_key(task)] for task in tasks]


def _compute(
    file: Path, work: Callable[..., dict[str, Any]], missing: list[Task], done: dict[str, Any]
) -> None:
    from rich.progress import track

    with ProcessPoolExecutor(os.cpu_count(), initializer=_quiet) as pool, file.open("a") as out:
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
    rows = [json.loads(line) for line in file.read_text().splitlines()]
    return {row["task"]: row["result"] for row in rows}


def _key(task: Task) -> str:
    return json.dumps(task)


def _quiet() -> None:
    warnings.simplefilter("ignore")
