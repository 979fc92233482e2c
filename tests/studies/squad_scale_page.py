"""The page of the study of squads on a cluster, from what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

Rows = Sequence[dict[str, Any]]

_ABOUT: Final = """# Squads on a cluster: how fast, and whether anything is lost

Written by `python -m tests.studies.squad_scale {options}`, which says how it was done: on one
machine, which other work may have slowed down, with a cluster of two workers, one processor core
each.
"""
_ON_PAPER: Final = """## Towards 100,000 athletes, on paper

Fits need no other athlete: their time is shared out among as many workers as there are, and what
does not shrink with more workers comes one after the other in the process that asks.

1. **Reading and writing folders** breaks first. Each athlete's season is read and checked, and each
   posterior taken in, sealed and written, by the one process that asks, at some tenth of a second
   each: a few hours for 100,000, and a bound on the workers that can be kept busy, at about a
   hundred. A run of the same squad in which nobody changed takes as long again. Several such
   processes, each for a part of the folders, would mend it.
2. **Pooling** holds a thousand draws of every athlete at once, and its Gibbs sampler sweeps over
   all: memory and time grow in proportion, by the table above to more than a laptop has. Draws of
   the group's means need no more than some thousand athletes; the others could be weighed against
   them one at a time.
3. **The scheduler** is handed two tasks for each worker at a time, so that its memory does not
   grow with the athletes.
4. **Disk**: a posterior is about 3 MB, so 100,000 are 300 GB.
5. **The tables** are read a part at a time, and hold a few hundred numbers for each athlete and
   type. The answers in words list every athlete, which nobody reads.
"""


def page(fits: Rows, pooled: Rows, faults: dict[str, dict[str, Any]]) -> str:
    """Return the page.

    Args:
        fits: what `fits` gave, by size.
        pooled: what `pooling` gave, by size.
        faults: what the faults left, by kind.
    """
    options = " ".join(
        (
            "--athletes",
            *(str(each["athletes"]) for each in fits),
            "--pooled",
            *(str(each["athletes"]) for each in pooled),
            f"--kills {faults['workers']['kills']}",
        )
    )
    parts = [
        _ABOUT.format(options=options),
        "## Fits\n",
        "Half a year each, fitted briefly (2 chains of 100 draws), so that the engine weighs more "
        "than it would. The first come later, as workers start and one of them compiles.\n",
        _table(
            ("athletes", "all after, s", "a minute, after the first four", "fitting, s each",
             "asking process, MiB", "a worker, MiB"),
            [_fit(each) for each in fits],
        ),
        "Memory is told as it was after a third of the athletes, after two thirds, and at the "
        "end. A worker's grows over its first few hundred fits, and hardly from then on.\n",
        "## Pooling alone\n",
        "Of athletes whose draws were made, a thousand each.\n",
        _table(
            ("athletes", "s", "of one processor, s", "draws, MiB", "most memory, MiB",
             "to be fitted again"),
            [_pooled(each) for each in pooled],
        ),
        "## Faults\n",
        "Thirty athletes, whose posteriors were made beforehand; a worker takes a second for each. "
        "Whole is whoever has the right posterior in the end, byte for byte.\n",
        _table(
            ("what was done", "times", "whole", "fits begun", "files left unfinished"),
            [
                _fault("a worker killed at a random moment", faults["workers"]),
                _fault("the whole run killed, scheduler and all, and begun anew", faults["run"]),
                _fault("a named scheduler and its workers killed, others started at its address",
                       faults["scheduler"]),
            ],
        ),
        _disk(faults["disk"]),
        _ON_PAPER,
    ]  # fmt: skip
    return "\n".join(parts)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def _fit(found: dict[str, Any]) -> tuple[str, ...]:
    at, asking, worker = np.array(found["rows"]).T
    count, first = len(at), min(3, len(at) - 2)
    pace = 60 * (count - 1 - first) / (at[-1] - at[first])
    seen = [count // 3, 2 * count // 3, -1]
    return (
        str(found["athletes"]),
        f"{at[-1]:.0f}",
        f"{pace:.1f}",
        f"{found['fitting'] / count:.1f}",
        ", ".join(f"{asking[at]:.0f}" for at in seen),
        ", ".join(f"{worker[at]:.0f}" for at in seen),
    )


def _pooled(found: dict[str, Any]) -> tuple[str, ...]:
    return (
        str(found["athletes"]),
        f"{found['seconds']:.0f}",
        f"{found['processor']:.0f}",
        f"{found['draws']:.0f}",
        f"{found['most']:.0f}",
        str(found["again"]),
    )


def _fault(name: str, found: dict[str, Any]) -> tuple[str, ...]:
    return (
        name,
        str(found["kills"]),
        f"{found['whole']} of {found['athletes']}",
        str(found["begun"]),
        str(found["unfinished"]),
    )


def _disk(found: dict[str, Any]) -> str:
    return (
        f"Where no file may grow as large as a posterior any more, the run ends with "
        f"“{found['refused']}”: {found['kept']} of {found['athletes']} stay fitted, and with room "
        f"again the same command fits the {found['later']} that are left; "
        f"{found['whole']} are whole then, and {found['unfinished']} files were left unfinished.\n"
    )
