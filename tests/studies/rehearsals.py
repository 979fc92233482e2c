"""Simulated trials fitted briefly, against the same trials fitted in whole: agreement and time.

    python -m tests.studies.rehearsals [--trials 30] [--jobs 1]

Ten processor seconds a trial; resumes where it was stopped. Writes
docs/calibration/rehearsals.md. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import time
import warnings
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np

from slackwater.fitting.answers.intervals import CLEARLY
from slackwater.fitting.measures.verdicts import Effect, verdict
from slackwater.fitting.sampling.brief import fit_briefly
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.trials.rehearsal import Rehearsal, trial_plan
from slackwater.fitting.trials.sizes import Curve
from slackwater.model import names as n
from slackwater.model.priors import Priors
from slackwater.model.simulator import simulate
from tests.studies.pool import run_all
from tests.studies.promises import PLAN_SEED, demo_trials

PAGE = Path(__file__).parents[2] / "docs" / "calibration" / "rehearsals.md"
CHAINS, DRAWS = 2, 1500  # of a whole fit
Z_80 = NormalDist().inv_cdf(0.9)
Rows = list[dict[str, Any]]


def main() -> None:
    """Run what is missing, then write the page."""
    parser = argparse.ArgumentParser(description="Hold brief fits against whole ones.")
    parser.add_argument("--trials", type=int, default=30)
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    given = parser.parse_args()
    rows = run_all("rehearsals", both_ways, [(k,) for k in range(given.trials)], given.jobs)
    page = _page(rows)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def both_ways(number: int) -> dict[str, Any]:
    """Return what a simulated trial of the demo athlete says, fitted briefly and in whole.

    Each way is run once before, so that nothing is loaded or compiled while time is taken.
    """
    task = demo_trials(PLAN_SEED)[number]
    rng = np.random.default_rng(task.seed)
    plan = trial_plan(task, rng)
    season = simulate(task.truth, plan, rng).season

    def briefly() -> Posterior:
        return fit_briefly(season, priors=task.priors, seed=task.seed)

    def whole() -> Posterior:
        return fit(season, priors=task.priors, seed=task.seed, cores=1, draws=DRAWS, chains=CHAINS)

    briefly()
    return {
        "sessions": task.sessions_per_arm,
        "nights": len(season.nights),
        "true": float(np.log(task.truth.rate_ratios[task.measure])),
        "brief": _said(task, briefly),
        "whole": _said(task, whole),
    }


def _said(task: Rehearsal, learn: Any) -> dict[str, Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        begun = time.process_time()
        posterior = learn()
        seconds = time.process_time() - begun
    draws = posterior.draws[n.LOG_RATE_RATIO].sel({n.INTERVENTION: task.measure}).values
    effect = Effect.of(draws, task.priors.log_rate_ratio)
    return {
        "mean": effect.mean,
        "sd": effect.sd,
        "chance": effect.chance_faster,
        "verdict": verdict(effect.below),
        "draws": len(draws),
        "seconds": seconds,
    }


def _page(rows: Rows) -> str:
    def column(way: str, name: str) -> np.ndarray:
        return np.array([row[way][name] for row in rows])

    sd = column("whole", "sd")
    shift = (column("brief", "mean") - column("whole", "mean")) / sd
    width = np.log(column("brief", "sd") / sd)
    low, high = ((_end(rows, "brief", at) - _end(rows, "whole", at)) / sd for at in (-1, 1))
    same = [row["brief"]["verdict"] == row["whole"]["verdict"] for row in rows]
    apart = [
        f"{row['whole']['chance']:.3f} against {row['brief']['chance']:.3f}"
        for row, agree in zip(rows, same, strict=True)
        if not agree
    ]
    times = column("whole", "seconds").sum() / column("brief", "seconds").sum()
    fallen = int((column("brief", "draws") == DRAWS * CHAINS).sum())
    promised = {way: _promised(rows, way) for way in ("whole", "brief")}
    return f"""# Simulated trials, fitted briefly

Written by `python -m tests.studies.rehearsals --trials {len(rows)}`.

`slackwater trial plan` simulates 40 whole trials and fits each. It is the whole number that \
counts, so these fits are brief: the same model, compiled once for all of them, and a few hundred \
draws of the same posterior by Hamiltonian paths that the curvature of the density aims \
(`fitting/sampling/hamiltonian.py`). Nothing about an athlete's own season is answered from such a \
fit. Here are {len(rows)} of the trials that a plan of the demo season simulates, of \
{min(row["nights"] for row in rows)} to {max(row["nights"] for row in rows)} nights, each fitted \
briefly and by `fit` ({CHAINS} chains of {DRAWS} draws).

| | briefly against in whole |
| --- | --- |
| processor time of all | **{times:.1f} times** less: {column("brief", "seconds").mean():.2f} s \
against {column("whole", "seconds").mean():.1f} s a trial |
| same verdict | {sum(same)} of {len(same)}{_but(apart)} |
| middle of the log rate ratio, in its standard deviations | {shift.mean():+.2f} on average, \
scattered by {shift.std():.2f} |
| its standard deviation | {100 * np.expm1(width.mean()):+.0f} % on average, scattered by \
{100 * width.std():.0f} % |
| ends of the 80 % range, in standard deviations | lower {low.mean():+.2f}, scattered by \
{low.std():.2f}; upper {high.mean():+.2f}, scattered by {high.std():.2f} |
| promised chance of "faster" with 16 sessions per arm | {promised["brief"]:.2f} against \
{promised["whole"]:.2f} |
| chains disagreed, so that it was fitted in whole | {fallen} of {len(rows)} |

Both are told by draws, so two whole fits would not agree to the last digit either. A verdict of \
"faster" takes a chance of {CLEARLY}.
"""


def _end(rows: Rows, way: str, side: int) -> np.ndarray:
    """Return an end of what each trial's 80 % range of the log rate ratio would be told as."""
    return np.array([row[way]["mean"] + side * Z_80 * row[way]["sd"] for row in rows])


def _but(apart: list[str]) -> str:
    return f"; chances of being faster where not: {', '.join(apart)}" if apart else ""


def _promised(rows: Rows, way: str) -> float:
    """Return what the plan's curve would promise from these trials."""
    prior = Priors().log_rate_ratio
    sds, sizes = np.array([(row[way]["sd"], row["sessions"]) for row in rows]).T
    true = np.array([row["true"] for row in rows])
    return Curve(true, (1 / sds**2 - 1 / prior.sd**2) / sizes, prior).chance(16)


if __name__ == "__main__":
    main()
