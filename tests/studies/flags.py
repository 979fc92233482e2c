"""Whether a stretch that the log does not explain is told, how soon, and how often in vain.

    python -m tests.studies.flags [--seasons 60] [--watched 10] [--nights 730] [--jobs 2]
        [--kinds NAME ...] [--write]

Takes many hours with every kind; resumes where it was stopped, as long as the code is the same.
`--write` writes docs/calibration/flags.md and its tables. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from tests.studies.bootstrap import mean_over, share_over
from tests.studies.coverage import table, write_table
from tests.studies.kinds import DROPS, FIRST_KINDS, OTHER_KINDS
from tests.studies.mornings import FIRST_ASKED, REFIT_EVERY, TWO_YEARS, fall, watch
from tests.studies.pool import run_all

PAGES: Final = Path(__file__).parents[2] / "docs" / "calibration"
APART: Final = 7  # nights without a flag between two stretches that are told
SOON: Final = (5, 10)
FALLS: Final = [kind for kind, its in DROPS.items() if its.drop and its.drop.nights != 5]
STEADY: Final = [kind for kind, its in {**FIRST_KINDS, **OTHER_KINDS}.items() if its.nights == 168]
FALL_COLUMNS: Final = {
    "kind": "kind of season",
    "seasons": "seasons",
    "within_5": "told within 5 nights",
    "within_10": "within 10",
    "ever": "at all",
    "nights_until": "nights until told, median",
    "percent": "told percent, median on the fifth night",
    "over": "no longer told a week after it began to heal",
}
STEADY_COLUMNS: Final = {
    "kind": "kind of season",
    "seasons": "seasons",
    "told": "stretches told in a season",
    "in_two_years": "the same in two years",
    "most": "most in one season",
    "at_most_one": "seasons with one at most",
    "nights_told": "share of mornings told",
}
Rows = list[dict[str, Any]]


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold what is told as unexplained to the truth.")
    parser.add_argument("--seasons", type=int, default=60, help="seasons of each kind of drop")
    parser.add_argument("--watched", type=int, default=10, help="long seasons without a drop")
    parser.add_argument("--nights", type=int, default=TWO_YEARS, help="nights of these")
    parser.add_argument("--jobs", type=int, help="processes at once; one for each core")
    parser.add_argument("--kinds", nargs="+", default=[*FALLS, *STEADY], metavar="NAME")
    parser.add_argument("--write", action="store_true", help="write the page and its tables")
    options = parser.parse_args()
    falls = [kind for kind in FALLS if kind in options.kinds]
    steady = [kind for kind in STEADY if kind in options.kinds]
    asked = run_all("fall", fall, _tasks(falls, options.seasons), options.jobs)
    long = [(*task, options.nights) for task in _tasks(steady, options.watched)]
    watched = run_all("watch", watch, long, options.jobs)
    fallen = [_fall_row(kind, [r for r in asked if r["kind"] == kind]) for kind in falls]
    vain = [_steady_row(kind, [r for r in watched if r["kind"] == kind]) for kind in steady]
    text = _page(options, fallen, vain)
    if options.write:
        write_table(PAGES / "flags-drops.csv", fallen)
        if vain:
            write_table(PAGES / "flags-without.csv", vain)
        (PAGES / "flags.md").write_text(text, encoding="utf-8")
    sys.stdout.write(text)


def _tasks(kinds: Sequence[str], seasons: int) -> list[tuple[str, int]]:
    return [(kind, 3000 + seed) for seed in range(seasons) for kind in kinds]


def first_told(told: Sequence[float | None]) -> int | None:
    """Return on which morning, counted from 1, a drop is first told."""
    return next((k + 1 for k, percent in enumerate(told) if (percent or 0.0) < 0), None)


def stretches(told: Sequence[float | None]) -> int:
    """Count the stretches that are told, parted by `APART` mornings without."""
    on = np.flatnonzero([percent is not None for percent in told])
    return int((np.diff(on) > APART).sum()) + bool(len(on))


def _fall_row(kind: str, rows: Rows) -> dict[str, Any]:
    firsts = [first_told(row["told"][: row["lasted"]]) for row in rows]
    found = [first for first in firsts if first]
    fifth = [row["told"][4] for row in rows if row["told"][4] is not None]
    after = [row["told"][row["lasted"] + 6] for row in rows if len(row["told"]) > row["lasted"] + 6]
    return {
        "kind": kind,
        "seasons": len(rows),
        **{f"within_{k}": share_over([[bool(f and f <= k)] for f in firsts]) for k in SOON},
        "ever": share_over([[bool(f)] for f in firsts]),
        "nights_until": float(np.median(found)) if found else float("nan"),
        "percent": float(np.median(fifth)) if fifth else float("nan"),
        "over": share_over([[percent is None] for percent in after]),
    }


def _steady_row(kind: str, rows: Rows) -> dict[str, Any]:
    counts = [stretches(row["told"]) for row in rows]
    years = TWO_YEARS / (len(rows[0]["told"]) + FIRST_ASKED)
    return {
        "kind": kind,
        "seasons": len(rows),
        "told": mean_over([[count] for count in counts]),
        "in_two_years": float(years * np.mean(counts)),
        "most": max(counts),
        "at_most_one": share_over([[count <= 1] for count in counts]),
        "nights_told": share_over([[p is not None for p in row["told"]] for row in rows]),
    }


def _page(options: argparse.Namespace, fallen: Rows, vain: Rows) -> str:
    return f"""# Is what nobody logged told?

Written by `python -m tests.studies.flags --seasons {options.seasons} --watched \
{options.watched} --nights {options.nights} --write`, \
`--kinds` being those in the tables. [What it means](README.md).

Where readings lie away from all that the log explains, `baseline` says so (`unexplained`). \
Seasons of the kinds of the [calibration](measured.md), asked on every morning with the log and \
the readings until then; a new fit every {REFIT_EVERY} nights and whenever slackwater asks for one.

## Drops that nobody logged

Every reading falls suddenly and stays down. Counted from the first morning that is lower. In \
brackets: 95 % ranges, each season one try.

{table(fallen, FALL_COLUMNS)}

{_steady(vain, options.nights)}"""


def _steady(vain: Rows, nights: int) -> str:
    if not vain:
        return "Nights without a drop: [how far to trust which answer](README.md).\n"
    return f"""## Seasons without a drop

{nights} nights, asked from night {FIRST_ASKED} on. A stretch is told once, however many \
mornings it lasts; {APART} mornings without part it from the next.

{table(vain, STEADY_COLUMNS)}
"""


if __name__ == "__main__":
    main()
