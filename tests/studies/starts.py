"""What an answering command costs to start, and an answer in a process that is there already.

Part of `python -m tests.studies.benchmark`. Whole processes are timed in turn with
`python -c "import pandas, xarray"`, which any answer has to do first, so that their ratio holds
whatever else the machine does. Processor time, which another process disturbs less, stands beside
the time on the clock. Both sides run from compiled modules, as what pip installs does.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting import (
    SeasonFolder,
    baseline,
    compare_intervention,
    explain,
    forecast,
    recovery,
)

PAIRS = 9
REPEATS = 7
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
IMPORTS = [sys.executable, "-c", "import pandas, xarray"]
COMMANDS = (
    ["check"],
    ["recovery", "--json"],
    ["baseline"],
    ["forecast", "--nights", "7"],
    ["explain"],
    ["compare", "--intervention", "river dip"],
    ["compare", "--types", "hill run", "steady row"],
    ["repeats"],
    ["history"],
)


def page(folder: Path) -> str:
    """Return both tables.

    Args:
        folder: a season folder with a posterior.
    """
    starts = [f"| `{' '.join(c)}` | {_ratio(c, folder)} |" for c in COMMANDS]
    answers = [f"| {name} | {new:.0f} ms | {again:.0f} ms |" for name, new, again in _asked(folder)]
    return "\n".join(
        [
            f"| answering command, as a whole process | times `import pandas, xarray` (median of "
            f"{PAIRS} pairs) | the same in processor time |",
            "| --- | --- | --- |",
            *starts,
            "",
            "| asked of a `SeasonFolder` in memory | the first time | again (median of "
            f"{REPEATS}) |",
            "| --- | --- | --- |",
            *answers,
        ]
    )


def _ratio(words: list[str], folder: Path) -> str:
    command, *options = words
    call = [sys.executable, "-m", "slackwater.fitting", command, str(folder), *options]
    pairs = [(_seconds(call), _seconds(IMPORTS)) for _ in range(PAIRS + 1)]
    ratios = [ours / imports for ours, imports in pairs[1:]]  # the first fills the caches
    return " | ".join(f"{ratio:.2f}" for ratio in np.median(ratios, axis=0))


def _seconds(call: list[str]) -> NDArray[np.float64]:
    """Return what a process takes: on the clock, and of the processor."""
    begun, used = time.perf_counter(), _processor_seconds()
    subprocess.run(call, check=True, capture_output=True, env=ENVIRONMENT)
    return np.array([time.perf_counter() - begun, _processor_seconds() - used])


def _processor_seconds() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _asked(folder: Path) -> list[tuple[str, float, float]]:
    """Return milliseconds of each daily question: of a state new in memory, and asked again."""

    def fresh() -> SeasonFolder:
        season = SeasonFolder(folder)
        assert season.season
        assert season.posterior.draws.sizes
        return season

    questions: dict[str, Callable[[SeasonFolder], object]] = {
        "standing": lambda season: season.now,
        "recovery": recovery,
        "baseline": baseline,
        "forecast": forecast,
        "explain": explain,
        "compare": lambda season: compare_intervention(season, "river dip"),
    }
    told = []
    for name, ask in questions.items():
        firsts, again = [], []
        for _ in range(REPEATS):
            season = fresh()
            if name != "standing":
                assert season.now
            firsts.append(_milliseconds(ask, season))
            again.append(_milliseconds(ask, season))
        told.append((name, statistics.median(firsts), statistics.median(again)))
    return told


def _milliseconds(ask: Callable[[SeasonFolder], object], season: SeasonFolder) -> float:
    begun = time.perf_counter()
    ask(season)
    return 1000 * (time.perf_counter() - begun)
