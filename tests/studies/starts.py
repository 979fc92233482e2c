"""What an answering command costs to start, and an answer in a process that is there already.

Part of `python -m tests.studies.benchmark`. Whole processes are timed in turn with
`python -c "import pandas, xarray"`, which any answer has to do first, so that their ratio holds
whatever else the machine does.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

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
            f"{PAIRS} pairs) |",
            "| --- | --- |",
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
    ratios = []
    for _ in range(PAIRS + 1):  # the first fills the machine's caches
        ratios.append(_seconds(call) / _seconds(IMPORTS))
    return f"{statistics.median(ratios[1:]):.2f}"


def _seconds(call: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(call, check=True, capture_output=True)
    return time.perf_counter() - begun


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
