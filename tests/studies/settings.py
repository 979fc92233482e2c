"""What a shorter warm-up and fewer draws cost, on the same seasons.

    python -m tests.studies.settings [--seasons 4] [--tune 400 600 1000] [--jobs 1]
    python -m tests.studies.settings --few [--seasons 10]

The first holds warm-ups of several lengths against one another: divergences, R-hat, lowest
effective sample size and processor time. The second holds the few draws that the studies take
against a whole fit: medians and 80 % ranges apart, in units of the whole fit's posterior standard
deviation, beside what two whole fits of other seeds are apart. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting.answers.recovery import next_session_days, typical_days
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.intake import read_season
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.athlete import Athlete
from slackwater.model.season import Season
from tests.studies.asking import coming_readings, fit_facts, learn
from tests.studies.generator import make
from tests.studies.pool import run_all
from tests.studies.ranks import NIGHTS, drawn_season

DEMO: Final = "demo"
FROM_PRIORS: Final = "drawn from the priors, with attributes"
KINDS: Final = (
    "as modelled",
    "noise autocorrelation 0.4",
    "ten weeks, few sessions",
    "fourteen months",
    FROM_PRIORS,
    DEMO,
)
OTHER_SEED: Final = 7919


def main() -> None:
    """Run one of the two comparisons and print its table."""
    parser = argparse.ArgumentParser(description="Measure what cheaper fits cost.")
    parser.add_argument("--seasons", type=int, default=4, help="seasons of each kind")
    parser.add_argument("--tune", type=int, nargs="+", default=[400, 600, 1000], help="warm-ups")
    parser.add_argument("--few", action="store_true", help="few draws against a whole fit")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    options = parser.parse_args()
    seeds = range(options.seasons)
    if options.few:
        held = run_all("few", few_against_whole, [(seed,) for seed in seeds], options.jobs)
        sys.stdout.write(_few_page(held))
        return
    tasks = [(kind, seed, tune) for seed in seeds for kind in KINDS for tune in options.tune]
    rows = run_all("warmed", warmed, tasks, options.jobs)
    for tune in options.tune:
        sys.stdout.write(_line(tune, [row for row in rows if row["tune"] == tune]))


def warmed(kind: str, seed: int, tune: int) -> dict[str, Any]:
    """Return how a fit went with a warm-up of one length, the careful run left out."""
    fitting: Any = import_module("slackwater.fitting.sampling.fit")
    fitting.TUNE, fitting.CAREFUL = tune, (tune, fitting.TARGET_ACCEPT)
    runs: list[float] = []
    sample = fitting._Run.sample

    def timed(*args: Any) -> Any:
        begun = time.process_time()
        result = sample(*args)
        runs.append(time.process_time() - begun)
        return result

    fitting._Run.sample = timed
    fitting._struggled = lambda checks: False
    try:
        posterior = fitting.fit(_season(kind, seed), seed=seed, cores=1)
    finally:
        fitting._Run.sample = sample
    stats = posterior.tree["sample_stats"].to_dataset()
    return {
        "kind": kind,
        "tune": tune,
        "bulk": posterior.checks.worst_bulk_ess,
        "steps": float(stats["n_steps"].mean()),
        "sampling": runs[-1],
        **fit_facts(posterior),
    }


def _season(kind: str, seed: int) -> Season:
    if kind == DEMO:
        with tempfile.TemporaryDirectory() as folder:
            copy_demo(Path(folder))
            return read_season(folder)
    if kind == FROM_PRIORS:
        return drawn_season(np.random.default_rng([7, seed]), NIGHTS)[2].season
    return Season.from_tables("made", **make(kind, seed).tables)


def _line(tune: int, rows: list[dict[str, Any]]) -> str:
    def median(key: str) -> float:
        return float(np.median([row[key] for row in rows]))

    per_second = np.median([row["bulk"] / row["sampling"] for row in rows])
    return (
        f"warm-up {tune}: {len(rows)} fits, {sum(r['divergences'] == 0 for r in rows)} without "
        f"divergence, {sum(r['rhat'] <= 1.01 for r in rows)} with R-hat 1.01 or less, "
        f"{sum(r['ess'] >= 400 for r in rows)} with ESS 400 or more; medians: lowest bulk ESS "
        f"{median('bulk'):.0f}, lowest ESS {median('ess'):.0f}, sampling "
        f"{median('sampling'):.2f} CPU s, {per_second:.0f} a second, {median('steps'):.1f} steps\n"
    )


def few_against_whole(seed: int) -> dict[str, Any]:
    """Return how far answers from few draws lie from those of a whole fit, and two of these."""
    season = _season("as modelled", seed)
    few, facts = learn(season, seed)
    fit = import_module("slackwater.fitting.sampling.fit").fit
    begun = time.process_time()
    whole = fit(season, seed=seed, cores=1)
    seconds = time.process_time() - begun
    again = fit(season, seed=seed + OTHER_SEED, cores=1)
    return {
        "few": _apart(season, few, whole),
        "whole": _apart(season, again, whole),
        "few_seconds": facts["seconds"],
        "whole_seconds": seconds,
        "few_ess": facts["ess"],
    }


def _apart(season: Season, one: Posterior, other: Posterior) -> dict[str, list[float]]:
    mine, its = _answers(season, one), _answers(season, other)
    return {
        f"{answer} {at}": [
            float(d)
            for d in np.ravel(
                (np.quantile(mine[answer], share, axis=0) - np.quantile(its[answer], share, axis=0))
                / its[answer].std(axis=0)
            )
        ]
        for answer in its
        for at, share in (("low", 0.1), ("median", 0.5), ("high", 0.9))
    }


def _answers(season: Season, posterior: Posterior) -> dict[str, np.ndarray]:
    athlete = Athlete(season, posterior)
    return {
        "typical days": typical_days(athlete.now),
        "next session": next_session_days(athlete.now),
        "baseline": athlete.now.baseline[:, None],
        "tomorrow": coming_readings(athlete, 1),
    }


def _few_page(rows: list[dict[str, Any]]) -> str:
    lines = [f"{len(rows)} seasons; apart in posterior SD: mean, root mean square\n"]
    for name in rows[0]["few"]:
        pairs = [np.concatenate([row[which][name] for row in rows]) for which in ("few", "whole")]
        few, whole = (f"{v.mean():+.3f} {np.sqrt((v**2).mean()):.3f}" for v in pairs)
        lines.append(f"{name}: few {few}; whole, other seed {whole}\n")
    for key in ("few_seconds", "whole_seconds", "few_ess"):
        lines.append(f"{key}: median {np.median([row[key] for row in rows]):.2f}\n")
    return "".join(lines)


if __name__ == "__main__":
    main()
