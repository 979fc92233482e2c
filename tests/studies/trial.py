"""How trials of one measure end where nothing is true, and where the planned effect is.

    python -m tests.studies.trial [--nothing 18] [--something 40]

Takes about six minutes on two cores; resumes where it was stopped. Writes
docs/calibration/trial.md. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import datetime as dt
import sys
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import beta, kstest

from slackwater.fitting import Athlete
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.intake import read_season
from slackwater.fitting.measures.verdicts import VERDICT_RULE
from slackwater.fitting.records.lots import ASSIGNMENT, WITH
from slackwater.fitting.records.trials import Planned, Trial, orders
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.trials.analyse import analyse_trial
from slackwater.fitting.trials.plan import Wanted, plan_trial
from slackwater.fitting.trials.rehearsal import Rehearsal, Rehearsed, rehearse
from slackwater.fitting.trials.sizes import Curve
from slackwater.fitting.trials.stretches import assigned, assigned_days, stretches_of
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.generator import MEASURE, TYPES, make
from tests.studies.kinds import MEDIANS
from tests.studies.pool import run_all

PAGE = Path(__file__).parents[2] / "docs" / "calibration" / "trial.md"
KINDS = (
    "as modelled",
    "deepest on the second night",
    "heavy tails, 20 % missing",
    "drift and a new sensor",
)
START = dt.date(2031, 2, 12)  # after six weeks
NIGHTS = 196
PER_ARM = 16
PLANNED_PER_ARM = 24
SMALLEST = 1.0
Rows = list[dict[str, Any]]


def main() -> None:
    """Run both studies, then write the page."""
    parser = argparse.ArgumentParser(description="Measure how trials end.")
    parser.add_argument("--nothing", type=int, default=18, help="trials of each kind of season")
    parser.add_argument("--something", type=int, default=40, help="trials with the planned effect")
    options = parser.parse_args()
    tasks = [(kind, seed) for seed in range(options.nothing) for kind in KINDS]
    null = run_all("trial_null", without_effect, tasks)
    found = run_all("trial_effect", with_effect, [(k,) for k in range(options.something)])
    page = _page(null, found)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def without_effect(kind: str, seed: int) -> dict[str, Any]:
    """Return how a trial ends on a made season on which the measure has no effect.

    The readings are made before the lots are drawn, so nothing about them can depend on
    the measure.
    """
    made = make(kind, 5000 + seed, NIGHTS, MEDIANS)
    types = dict.fromkeys(TYPES, 1 / len(TYPES))
    lots = 100 * seed + KINDS.index(kind)
    plan = Planned(
        trial=1,
        written=dt.datetime.combine(START, dt.time(), dt.UTC),
        measure=MEASURE,
        start=START,
        sessions_per_arm=PER_ARM,
        smallest_days=SMALLEST,
        wanted_chance=0.8,
        expected_chance=0.5,
        types=types,
        seed=lots,
        assignment=ASSIGNMENT,
        pairs=orders(lots, list(types), PER_ARM),
        verdict_rule=VERDICT_RULE,
    )
    bare = Season.from_tables("made", **made.tables)
    days = assigned_days(stretches_of(bare, assigned(plan)), WITH)
    used = pd.DataFrame({"date": days, "intervention": MEASURE})
    season = Season.from_tables("made", **made.tables, interventions=used)
    answer = analyse_trial(Athlete(season, trials=[Trial(plan)]), _ask)
    low, _, high = answer.rate_ratio
    return {
        "kind": kind,
        "verdict": answer.verdict,
        "p_value": answer.randomisation_test.p_value,
        "covered": low <= 1.0 <= high,
        "sd": answer.log_rate_ratio_sd,
        "worth": answer.chance_worth_having,
    }


def with_effect(number: int) -> dict[str, Any]:
    """Return how one simulated trial of the demo athlete ends."""
    return rehearse(_demo_trials()[number])._asdict()


def _ask(season: Season) -> Athlete:
    return Athlete(season, fit(season, cores=1))


@cache
def _demo_trials() -> list[Rehearsal]:
    """Return the trials that a plan of the demo season simulates."""
    with tempfile.TemporaryDirectory() as folder:
        copy_demo(Path(folder) / "demo")
        season = read_season(Path(folder) / "demo")
    athlete = Athlete(season, fit(season, cores=1))
    kept: list[Rehearsal] = []

    def keep(tasks: Sequence[Rehearsal]) -> list[Rehearsed]:
        kept.extend(tasks)
        return [Rehearsed(t.sessions_per_arm, 1, 0.0, 0.0, 0.15, "undecided") for t in tasks]

    plan_trial(athlete, Wanted("x", 77, smallest=SMALLEST, sessions=PLANNED_PER_ARM), run=keep)
    return kept


def _range(count: int, of: int) -> str:
    """Return an exact 95 % binomial range in percent (Clopper & Pearson 1934)."""
    low = beta.ppf(0.025, count, of - count + 1) if count else 0.0
    high = beta.ppf(0.975, count + 1, of - count) if count < of else 1.0
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def _page(null: Rows, found: Rows) -> str:
    of = len(null)
    verdicts = ("faster", "slower", "no meaningful difference", "undecided")
    rows = []
    for kind in (*KINDS, "all"):
        each = [r for r in null if kind in (r["kind"], "all")]
        counts = [sum(r["verdict"] == v for r in each) for v in verdicts]
        low_p = sum(r["p_value"] <= 0.05 for r in each)
        rows.append(f"| {kind} | {len(each)} | {' | '.join(map(str, counts))} | {low_p} |")
    wrong = sum(r["verdict"] in ("faster", "slower") for r in null)
    low_p = sum(r["p_value"] <= 0.05 for r in null)
    covered = sum(r["covered"] for r in null)
    even = kstest([r["p_value"] for r in null], "uniform").pvalue
    true = np.array([r["log_ratio"] for r in found])
    sds = np.array([r["sd"] for r in found])
    prior = Priors().log_rate_ratio
    information = (1 / sds**2 - 1 / prior.sd**2) / PLANNED_PER_ARM
    promised = Curve(true, information, prior).chance(PLANNED_PER_ARM)
    faster = sum(r["verdict"] == "faster" for r in found)
    slower = sum(r["verdict"] == "slower" for r in found)
    return f"""# Trials of one measure

Written by `python -m tests.studies.trial --nothing {of // len(KINDS)} --something {len(found)}`.

## Nothing is true

{of} seasons of {NIGHTS} nights from `tests/studies/generator.py`, which shares no code with \
slackwater: {len(KINDS)} kinds. The readings are made first and the lots drawn afterwards, so the \
measure cannot have an effect. Each trial begins after \
six weeks, ends at {PER_ARM} sessions per arm, and is fitted and judged once.

| kind of season | trials | {" | ".join(verdicts)} | p of 0.05 or less |
| --- | ---: | ---: | ---: | ---: | ---: | ---: |
{chr(10).join(rows)}

- A false verdict ("faster" or "slower"): {wrong} of {of}, which is {100 * wrong / of:.1f} % \
(95 % binomial range {_range(wrong, of)}). The rule aims at 5 % or less.
- 80 % intervals that held the true rate ratio of 1: {covered} of {of} ({_range(covered, of)}). \
The prior is centred on no effect, so more than 80 % are expected.
- Randomisation test, which uses no model: p of 0.05 or less in {low_p} of {of} \
({_range(low_p, of)}); the p-values against the uniform distribution, Kolmogorov and Smirnov's \
test: p = {even:.2f}.

## The planned effect is true

{len(found)} trials of {PLANNED_PER_ARM} sessions per arm, simulated as `slackwater trial plan` \
does for the demo season, with a measure that saves {SMALLEST:g} day of a typical session. These \
come from the model itself.

- The smooth curve, which knows the trials' standard errors but not their verdicts, expects \
"faster" with a chance of {promised:.2f}. Seen: {faster} of {len(found)} \
({_range(faster, len(found))}). "Slower": {slower}.
"""


if __name__ == "__main__":
    main()
