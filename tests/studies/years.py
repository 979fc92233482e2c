"""What letting recovery change over years costs where it doesn't, and saves where it does.

    python -m tests.studies.years [--seasons 10]

Takes about an hour on two cores; resumes where it was stopped. Writes docs/calibration/years.md.

Seasons of two and a half years from the model's own simulator. Each is fitted twice: as
slackwater does, and with a recovery that is held to be one all through.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from slackwater.fitting import Athlete, fit, recovery
from slackwater.model.priors import Priors, around
from slackwater.model.season import Season
from slackwater.model.simulator import Impulse, Truth, plan_season, simulate
from tests.studies.pool import run_all

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "years.md"
NIGHTS: Final = 910
REST: Final = 12
SPANS: Final = {"steady row": (0.08, 0.18), "row intervals": (0.16, 0.32), "hill run": (0.2, 0.4)}
KINDS: Final = {
    "recovery stays as it is": (1.0, 1.0),
    "dips were half as deep again at first, and shrank evenly": (1.5, 1.0),
    "recovery was a third slower in the first half": (1.0, 2 / 3),
}
STILL: Final = Priors(dip_trend_sd=around(1e-3, 0.1), rate_trend_sd=around(1e-3, 0.1))
SLOWER: Final = "slower"


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold a changing recovery against a fixed one.")
    parser.add_argument("--seasons", type=int, default=10, help="seasons of each kind")
    options = parser.parse_args()
    tasks = [(kind, seed) for seed in range(options.seasons) for kind in KINDS]
    found = run_all("years", ask, tasks)
    page = _page(found, options.seasons)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def ask(kind: str, seed: int) -> dict[str, Any]:
    """Return how the typical days of one season compare with the truth, by both fits."""
    season, truth = _made(kind, seed)
    fits = {}
    for name, priors in (("changing", Priors()), ("fixed", STILL)):
        posterior = fit(season, priors=priors, seed=seed, cores=1)
        days = recovery(Athlete(season, posterior)).types["typical_days"]
        fits[name] = {
            "types": [_against(days.sel(type=t).values, d) for t, d in truth.items()],
            "divergences": posterior.checks.divergences,
            "rhat": posterior.checks.worst_rhat,
        }
    return {"kind": kind, **fits}


def _against(bounds: Any, truth: float) -> dict[str, float]:
    low, median, high = (float(b) for b in bounds)
    return {"cover": float(low <= truth <= high), "width": high - low, "error": median - truth}


def _made(kind: str, seed: int) -> tuple[Season, dict[str, float]]:
    """Return a season's log and readings, and today's true typical days of each type."""
    deeper, pace = KINDS[kind]
    rng = np.random.default_rng([11, list(KINDS).index(kind), seed])
    truth = Truth(
        baseline_ms=float(rng.uniform(45, 85)),
        types={
            name: Impulse(float(rng.uniform(*dips)), float(rng.uniform(0.7, 2.0)))
            for name, dips in SPANS.items()
        },
        start=Impulse(float(rng.uniform(0.05, 0.3)), 2.5),
        noise_sd=float(rng.uniform(0.08, 0.13)),
        rate_ratios={SLOWER: pace},
    )
    days = pd.date_range("2031-01-01", periods=NIGHTS).to_numpy()
    sessions = _sessions(days, rng)
    age = (days[-1] - sessions["date"].to_numpy()) / (days[-1] - days[0])
    early = pd.DataFrame({"date": days[: NIGHTS // 2], "intervention": SLOWER})
    nights = pd.DataFrame({"date": days})
    plan = plan_season("made", nights, sessions.assign(dose=deeper**age), interventions=early)
    made = simulate(truth, plan, rng)
    log = Season.from_tables("made", made.season.tables()["readings"], sessions)
    return log, truth.typical_days()


def _sessions(days: Any, rng: np.random.Generator) -> pd.DataFrame:
    rows, day = [], REST
    while day < NIGHTS - 1:
        rows.append((days[day], str(rng.choice(list(SPANS)))))
        day += int(rng.choice([1, 2, 2, 3, 4]))
    return pd.DataFrame(rows, columns=["date", "type"])


def _page(found: list[dict[str, Any]], seasons: int) -> str:
    rows = []
    for kind in KINDS:
        for name in ("changing", "fixed"):
            fits = [row[name] for row in found if row["kind"] == kind]
            types = [t for one in fits for t in one["types"]]
            rows.append(
                f"| {kind} | {name} | {_mean(t['cover'] for t in types):.2f} "
                f"| {_mean(t['width'] for t in types):.2f} "
                f"| {_mean(t['error'] for t in types):+.2f} "
                f"| {sum(f['divergences'] == 0 and f['rhat'] <= 1.01 for f in fits)} |"
            )
    table = "\n".join(rows)
    return f"""# Recovery that changes over years

Written by `python -m tests.studies.years --seasons {seasons}`.

{seasons} seasons of {NIGHTS} nights of each kind, three session types. *Changing*: as slackwater
fits seasons of more than half a year, recovery as a whole may change slowly. *Fixed*: a recovery
held to be one all through. The share of 80 % ranges of today's typical days that hold the
truth, their width, and the mean of median minus truth.

| kind of season | fit | covered | width, days | bias, days | clean fits |
| --- | --- | ---: | ---: | ---: | ---: |
{table}
"""


def _mean(values: Iterable[float]) -> float:
    return float(np.mean(list(values)))


if __name__ == "__main__":
    main()
