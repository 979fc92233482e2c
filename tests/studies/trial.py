"""Verdicts on measures: how often false, how often found, and whether plans keep their promises.

    python -m tests.studies.trial [--false 200] [--true 100] [--outside 50] [--promises 120]
        [--minutes 60]

Half a second of processor time a season; resumes where it was stopped, and writes
docs/calibration/trial.md from as many seasons of each cell as were reached in the minutes given.
Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from scipy.stats import beta

from slackwater.fitting.answers.intervals import CLEARLY
from slackwater.fitting.measures.verdicts import FASTER, SLOWER, UNDECIDED
from tests.studies.made_trial import (
    FALSE,
    TIRED,
    TRUE,
    WEEKS_BEFORE,
    WEEKS_ON,
    groups,
    in_a_trial,
    outside,
)
from tests.studies.pool import run_until
from tests.studies.promises import SMALLEST, fresh, promise

PAGE = Path(__file__).parents[2] / "docs" / "calibration" / "trial.md"
WEEKS = (12, 24, 36)
NOT_MEASURED = "Not measured in this run."
PLANS = (None, 12)  # sessions per arm: as many as four chances in five take, and few
WRONG = (FASTER, SLOWER)
GOAL = 0.05  # of false verdicts, at most
PARTS = 8
Rows = list[dict[str, Any]]
Cells = dict[tuple[str, int], Rows]


def main() -> None:
    """Run what is missing, then write the page."""
    parser = argparse.ArgumentParser(description="Measure verdicts on measures.")
    parser.add_argument("--false", type=int, default=200, help="seasons a cell without effect")
    parser.add_argument("--true", type=int, default=100, help="seasons a cell with one")
    parser.add_argument("--outside", type=int, default=50, help="seasons a cell without lots")
    parser.add_argument("--promises", type=int, default=120, help="fresh trials of a plan's size")
    parser.add_argument("--minutes", type=float, default=math.inf, help="no longer than that")
    parser.add_argument("--jobs", type=int, help="processes at once")
    given = parser.parse_args()
    end = time.time() + 60 * given.minutes
    free_groups = [*groups(WEEKS_ON), [TIRED]]
    for part in range(1, PARTS + 1):  # all cells grow together, so that any end is a fair one
        sizes = given.false, given.true, given.outside, given.promises
        false_each, true_each, free_each, trials = (-(-size * part // PARTS) for size in sizes)
        how = given.jobs, end
        false = _cells("verdicts_false", in_a_trial, groups(FALSE), false_each, *how)
        true = _cells("verdicts_true", in_a_trial, groups(TRUE), true_each, *how)
        free = _cells("verdicts_outside", outside, free_groups, free_each, *how)
        promises = _promises(trials, *how)
    page = _page(false, true, free, promises, given)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _cells(
    study: str, work: Any, names: list[list[str]], seasons: int, jobs: int | None, end: float
) -> Cells:
    """Return what was told in each cell, of names that share a fit and so many weeks."""
    cells = [(group, weeks) for group in names for weeks in WEEKS]
    tasks = [(*cell, seed) for seed in range(seasons) for cell in cells]
    found: Cells = {(name, weeks): [] for group in names for name in group for weeks in WEEKS}
    rows = run_until(end, study, work, tasks, jobs)
    for (_, weeks, _), row in zip(tasks, rows, strict=True):
        for name, told in (row or {}).items():
            if not told["refused"]:
                found[name, weeks].append(told)
    return found


def shares(count: int, of: int) -> str:
    """Return a share in percent with its exact 95 % binomial range (Clopper & Pearson 1934)."""
    low = beta.ppf(0.025, count, of - count + 1) if count else 0.0
    return f"{100 * count / of:.0f} % ({100 * low:.0f}–{100 * _most(count, of):.0f})"


def _said(rows: Rows, *verdicts: str) -> str:
    return shares(sum(row["verdict"] in verdicts for row in rows), len(rows))


def _held(rows: Rows, what: str) -> str:
    return shares(round(sum(row[what]["cover"] for row in rows)), len(rows))


def _goal(false: Cells) -> str:
    """Return in words whether false verdicts are as seldom as is aimed at, in every cell."""
    counts = {cell: sum(row["verdict"] in WRONG for row in rows) for cell, rows in false.items()}
    known = {cell: count for cell, count in counts.items() if false[cell]}
    missed = [c for c, count in known.items() if count > GOAL * len(false[c])]
    open_ = [c for c, count in known.items() if _most(count, len(false[c])) > GOAL]
    found = f"The goal of at most {100 * GOAL:.0f} % is met by the share found in every cell."
    if missed:
        named = "; ".join(f"{name}, {weeks} weeks" for name, weeks in missed)
        found = f"The goal of at most {100 * GOAL:.0f} % is **not met** in: {named}."
    left = f"In {len(open_)} of {len(known)} so few trials do not rule out more than that."
    return f"{found} {left}" if open_ else found


def _most(count: int, of: int) -> float:
    return float(beta.ppf(0.975, count + 1, of - count)) if count < of else 1.0


def _table(head: str, cells: Cells, row: Callable[[Rows], Iterable[str]]) -> str:
    titles = ("what the measure does", "weeks", *head.split(" | "))
    lines = [f"| {' | '.join(titles)} |", f"| --- |{' ---: |' * (len(titles) - 1)}"]
    for (name, weeks), rows in cells.items():
        if rows:
            lines.append(f"| {name} | {weeks} | {' | '.join(row(rows))} |")
    return "\n".join(lines) if any(cells.values()) else NOT_MEASURED


def _promises(trials: int, jobs: int | None, end: float) -> str:
    """Return what plans promise and what so many fresh trials of their sizes found."""
    sizes = [(size,) for size in PLANS if trials]
    plans = [plan for plan in run_until(end, "promises", promise, sizes, jobs) if plan]
    tasks = [(plan["sessions"], k) for plan in plans for k in range(trials)]
    ended = run_until(end, "promises_kept", fresh, tasks, jobs)
    if not any(ended):
        return f"{NOT_MEASURED}\n"
    lines = [
        "| sessions per arm | promised | fresh trials | ended *faster* |",
        "| ---: | ---: | ---: | ---: |",
    ]
    for plan in plans:
        its = zip(tasks, ended, strict=True)
        each = [row for (size, _), row in its if row and size == plan["sessions"]]
        if not each:
            continue
        low, chance, high = (100 * value for value in plan["chance"])
        lines.append(
            f"| {plan['sessions']} | {chance:.0f} % ({low:.0f}–{high:.0f}) | {len(each)} "
            f"| {_said(each, 'faster')} |"
        )
    return "\n".join(lines) + "\n"


def _page(false: Cells, true: Cells, free: Cells, promises: str, given: argparse.Namespace) -> str:
    null = [row for rows in false.values() for row in rows]
    wrong = sum(row["verdict"] in WRONG for row in null)
    told = [row for rows in free.values() for row in rows]
    verdicts = sum(row["verdict"] != UNDECIDED for row in told)
    got_one = f": {verdicts} of {len(told)} seasons got one" if told else ""
    sizes = ("false", "true", "outside", "promises")
    command = " ".join(f"--{k} {getattr(given, k)}" for k in sizes)
    if math.isfinite(given.minutes):
        command += f" --minutes {given.minutes:g}"
    return f"""# Verdicts on measures

Written by `python -m tests.studies.trial {command}`. In brackets: exact 95 % binomial ranges.

Made seasons (`tests/studies/generator.py`, which shares no code with slackwater) in which the \
truth about a measure is known. How much sessions scatter, how far baseline drifts and how heavy \
the noise's tails are is drawn for each season, from ranges wider than slackwater believes \
beforehand. Each season is fitted briefly, as those that `trial plan` simulates: that this gives \
the same verdicts is [measured](rehearsals.md). Cells that differ in the lift alone share one fit, \
whose draws are weighed by the prior of the lift (`tests/studies/lifted.py`; 32 of 32 verdicts as \
by fits of their own, middles within 0.10 standard deviations).

## In a trial, without an effect on recovery

The trial begins after {WEEKS_BEFORE} weeks, lots decide as `trial today` tells them, and it is \
judged once, at its end. *Faster* and *slower* are both false here; the rule aims at 5 % or less. \
*p* is the test without a model. Looking every day changes nothing: before its end a trial gives \
no verdict, whatever `--peek` shows.

{_table(FALSE_HEAD, false, _false_row)}

{_goal(false)} All together: {wrong} of {len(null)} verdicts are false. Seasons of one number are \
one athlete and one sequence of luck in all of these cells, so that cells can be compared; their \
counts cannot be added up as if they were independent.

## In a trial, with an effect

Shallower dips are no faster recovery, and the model has no place for them: there, *faster* and \
*slower* are both wrong, and what is held is a ratio of 1 and 0 days saved.

{_table(TRUE_HEAD, true, _true_row)}

## Without lots

Used every other week, or (in the last rows) only on days that begin tired. No verdict is given \
outside a trial, however often one looks{got_one}. Beside it, what the trials' rule would have \
said had it been used once, at the end.

{_table(FREE_HEAD, free, _free_row)}

## What a plan promises

For the demo season and a measure that saves {SMALLEST:g} day of a typical session: the chance \
of the verdict *faster* that `trial plan` promises from its 40 trials, with its 80 % range, and \
the share of fresh trials of that size that ended so, of other draws of the same athlete.

{promises}"""


HELD = "ratio held, 80 %"
FALSE_HEAD = f"trials | sessions per arm | false | faster | slower | p of 0.05 or less | {HELD}"
TRUE_HEAD = f"trials | sessions per arm | faster | slower | {HELD} | days saved held, 80 %"
FREE_HEAD = f"seasons | the rule would have said faster or slower | {HELD}"


def _false_row(rows: Rows) -> tuple[str, ...]:
    tested = [row["p_value"] <= 0.05 for row in rows if row["p_value"] == row["p_value"]]
    return (
        str(len(rows)),
        _per_arm(rows),
        _said(rows, *WRONG),
        *(str(sum(row["verdict"] == one for row in rows)) for one in WRONG),
        shares(sum(tested), len(tested)),
        _held(rows, "ratio"),
    )


def _true_row(rows: Rows) -> tuple[str, ...]:
    said = (_said(rows, one) for one in WRONG)
    return str(len(rows)), _per_arm(rows), *said, _held(rows, "ratio"), _held(rows, "saved")


def _free_row(rows: Rows) -> tuple[str, ...]:
    clear = sum(max(row["chance"], 1 - row["chance"]) >= CLEARLY for row in rows)
    return str(len(rows)), shares(clear, len(rows)), _held(rows, "ratio")


def _per_arm(rows: Rows) -> str:
    return f"{sum(row['per_arm'] for row in rows) / len(rows):.0f}"


if __name__ == "__main__":
    main()
