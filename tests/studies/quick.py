"""Judge a change of the model in minutes: a few seasons of each chosen kind, one fit each.

    python -m tests.studies.quick [--seasons 12] [--from 0] [--jobs 1] [--kinds NAME ...]
        [--csv FILE]

Resumes where it was stopped, as long as the code is the same. One seed is one athlete in all of the
kinds that share random numbers (see `kinds.py`), so that kinds, and the model before and after a
change, are compared season by season. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from pathlib import Path

from tests.studies.code_state import state_of
from tests.studies.coverage import coverage_row, table, write_table
from tests.studies.judging import judge
from tests.studies.kinds import KINDS
from tests.studies.pool import run_all

CHOSEN = (
    "as modelled",
    "noise autocorrelation 0.2",
    "noise autocorrelation 0.4",
    "one session in eight not logged",
    "heavy tails, 20 % missing",
    "fast and slow recovery",
    "deepest on the second night",
    "weekly rhythm, fixed weekdays",
    "drift and a new sensor",
)
COLUMNS = {
    "kind": "kind of season",
    "typical": "typical days",
    "bias_days": "bias, days",
    "bias_foretold": "bias, as foretold",
    "width_days": "width, days",
    "next": "next session",
    "next_foretold": "next session, as foretold",
    "typical_all": "typical days, all",
    "next_all": "next session, all",
    "typical_one_day": "truths of one day",
    "baseline": "baseline",
    "nights_1_to_7": "nights 1 to 7",
    "crps_over_oracle": "CRPS over oracle",
    "noise_error": "error of night-to-night SD, relative",
    "flagged": "flagged at the end",
    "no_divergence": "without divergence",
    "lowest_ess": "lowest ESS, median",
    "fit_seconds": "fit, CPU s",
    "refused": "refused",
}


def main() -> None:
    """Judge the seasons and print their table."""
    parser = argparse.ArgumentParser(description="Judge a change of the model in minutes.")
    parser.add_argument("--seasons", type=int, default=12, help="seasons of each kind")
    parser.add_argument("--from", type=int, default=0, dest="first", help="the first seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--kinds", nargs="+", default=CHOSEN, choices=KINDS, metavar="NAME")
    parser.add_argument("--csv", type=Path, help="write the table there, with all its ranges")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.seasons)
    tasks = [(kind, seed) for seed in seeds for kind in options.kinds]
    judged = run_all("judge", judge, tasks, options.jobs)
    rows = [coverage_row(k, [row for row in judged if row["kind"] == k]) for k in options.kinds]
    sys.stdout.write(f"{options.seasons} seasons a kind; code {state_of(judge)}\n\n")
    sys.stdout.write(table(rows, COLUMNS) + "\n")
    if options.csv:
        write_table(options.csv, rows)


if __name__ == "__main__":
    main()
