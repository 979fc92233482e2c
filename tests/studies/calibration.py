"""How far the answers can be trusted, measured on seasons whose truth is known.

    python -m tests.studies.calibration [--seasons 60] [--named 60] [--modelled 100]
        [--drops 60] [--followed 20] [--drawn 300] [--long 60] [--deciding 40] [--caught-up 20]
        [--jobs 2]

What is given a 0 is left out of the page. Takes hours; resumes where it was stopped, as long as
the code is the same. Writes the page, tables and pictures in docs/calibration/. Needs the extra
`studies`. `tests.studies.quick` judges a change of the model in minutes.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from pathlib import Path
from typing import Any

from tests.studies import pictures
from tests.studies.coverage import coverage_row, write_table
from tests.studies.following import HORIZONS, follow
from tests.studies.judging import catch_up, decide, judge
from tests.studies.kinds import (
    AS_MODELLED,
    DOES_NOTHING,
    DROPS,
    FIRST_KINDS,
    KINDS,
    OTHER_KINDS,
    SPEEDS_UP,
)
from tests.studies.measured_page import page
from tests.studies.pool import run_all
from tests.studies.ranks import LONG_NIGHTS, NIGHTS, rank
from tests.studies.scores import fit_facts, score_row, verdict_row

PAGES = Path(__file__).parents[2] / "docs" / "calibration"
MEASURED = (SPEEDS_UP, DOES_NOTHING)
SEASON_LENGTHS = (84, 168, 252)
NAMED = (
    AS_MODELLED,
    "noise autocorrelation 0.2",
    "noise autocorrelation 0.4",
    "drift and a new sensor",
    "one session in eight not logged",
    "weekly rhythm, fixed weekdays",
)
STEADY = (*FIRST_KINDS, *OTHER_KINDS)
Rows = list[dict[str, Any]]


def main() -> None:
    """Run every study, then write the tables, pictures and the page."""
    parser = argparse.ArgumentParser(description="Measure how far the answers can be trusted.")
    parser.add_argument("--seasons", type=int, default=60, help="seasons of each kind")
    parser.add_argument("--named", type=int, default=60, help="the same, of what nights are like")
    parser.add_argument("--modelled", type=int, default=100, help="the same, as modelled")
    parser.add_argument("--drops", type=int, default=60, help="the same, with a drop")
    parser.add_argument("--followed", type=int, default=20, help="seasons whose end is followed")
    parser.add_argument("--drawn", type=int, default=300, help="seasons drawn from the priors")
    parser.add_argument("--long", type=int, default=60, help="the same, of over a year")
    parser.add_argument("--deciding", type=int, default=40, help="seasons for each verdict")
    parser.add_argument("--caught-up", type=int, default=20, help="seasons that go on")
    parser.add_argument("--jobs", type=int, help="processes at once; one for each core")
    options = parser.parse_args()
    jobs = options.jobs
    count = dict.fromkeys(STEADY, options.seasons) | dict.fromkeys(DROPS, options.drops)
    count |= dict.fromkeys(NAMED, options.named)
    count[AS_MODELLED] = options.modelled
    seasons = [
        (kind, seed) for seed in range(max(count.values())) for kind in KINDS if seed < count[kind]
    ]
    judged = run_all("judge", judge, seasons, jobs)
    drawn = [
        (nights, run_all("rank", rank, [(seed, nights) for seed in range(seeds)], jobs))
        for nights, seeds in ((NIGHTS, options.drawn), (LONG_NIGHTS, options.long))
        if seeds
    ]
    following = [(kind, seed) for seed in range(options.followed) for kind in STEADY]
    followed = run_all("follow", follow, following, jobs)
    deciding = [
        (kind, nights, 1000 + seed)
        for seed in range(options.deciding)
        for nights in SEASON_LENGTHS
        for kind in MEASURED
    ]
    decided = run_all("decide", decide, deciding, jobs)
    caught = run_all("catch_up", catch_up, [(seed,) for seed in range(options.caught_up)], jobs)
    PAGES.mkdir(parents=True, exist_ok=True)
    coverage = [coverage_row(kind, _of(judged, kind)) for kind in STEADY if count[kind]]
    drops = [coverage_row(kind, _of(judged, kind)) for kind in DROPS if count[kind]]
    scores = [
        score_row(kind, h, _of(followed, kind))
        for kind in STEADY
        for h in HORIZONS
        if options.followed
    ]
    verdicts = [
        verdict_row(kind, nights, decided)
        for kind in MEASURED
        for nights in SEASON_LENGTHS
        if options.deciding
    ]
    ranks = [_ranks(nights, rows) for nights, rows in drawn]
    pictures.draw_coverage([*coverage, *drops], PAGES / "coverage.png")
    if scores:
        pictures.draw_scores(scores, PAGES / "scores.png")
    tables = {"coverage": [*coverage, *drops], "scores": scores, "verdicts": verdicts}
    for name, rows in tables.items():
        if rows:
            write_table(PAGES / f"{name}.csv", rows)
    fits = [r["fit"] for r in [*judged, *decided]] + [f for r in followed for f in r["fits"]]
    fits += [row for _, rows in drawn for row in rows]
    command = " ".join(
        [
            f"python -m tests.studies.calibration --seasons {options.seasons}",
            f"--named {options.named} --modelled {options.modelled} --drops {options.drops}",
            f"--followed {options.followed} --drawn {options.drawn} --long {options.long}",
            f"--deciding {options.deciding} --caught-up {options.caught_up}",
        ]
    )
    text = page(command, coverage, drops, scores, verdicts, ranks, fit_facts(fits, caught))
    (PAGES / "measured.md").write_text(text, encoding="utf-8")
    sys.stdout.write(text)


def _of(rows: Rows, kind: str) -> Rows:
    return [row for row in rows if row["kind"] == kind]


def _ranks(nights: int, rows: Rows) -> dict[str, Any]:
    """Draw the ranks of seasons of one length; return what the page says of them."""
    ranks = {name: [row["ranks"][name] for row in rows] for name in rows[0]["ranks"]}
    picture = "ranks.png" if nights == NIGHTS else "ranks-long.png"
    return {
        "nights": nights,
        "seasons": len(rows),
        "again": sum(row["again"] > 0 for row in rows),
        "quantities": len(ranks),
        "told": {k: [row["told"][k] for row in rows] for k in rows[0]["told"]},
        "outside": pictures.draw_ranks(ranks, PAGES / picture),
        "picture": picture,
    }


if __name__ == "__main__":
    main()
