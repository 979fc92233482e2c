"""The recipe of the demo season: run it to write demo_data/ anew.

    python tests/demo_season.py

An invented club rower who also lifts and runs hills: 26 weeks of readings that begin with
two weeks of complete rest, five session types, one recovery measure that works and one
that does not, a head cold, a new sensor and missing nights. The readings come from
`slackwater.model.simulator`, and what they were made from is kept in truth.json.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from slackwater.model.season import Season
from slackwater.model.simulator import Impulse, Simulated, Truth, plan_season, simulate

DEMO_DATA = Path(__file__).parents[1] / "demo_data"
SEED = 20310106
FIRST_NIGHT = "2031-01-06"
NIGHTS = 182
REST = 14
NEW_SENSOR_FROM = 112
COLD = (75, 76, 77)
UNKNOWN = "ln_sd"  # how exactly a night was measured, which this athlete does not know

TRUTH = Truth(
    baseline_ms=64.0,
    types={
        "easy paddle": Impulse(0.05, 0.8),
        "steady row": Impulse(0.13, 1.0),
        "row intervals": Impulse(0.26, 1.2),
        "heavy lifting": Impulse(0.22, 1.8),
        "hill run": Impulse(0.30, 1.5),
    },
    start=Impulse(0.22, 2.8),
    stressors={"head cold": Impulse(0.18, 1.5)},
    rate_ratios={"river dip": 1.6, "beet juice": 1.0},
    sensor_steps={"finger clip": 0.08},
    noise_sd=0.10,
    noise_tail=0.5,
    drift_sd=0.007,
    session_sd=0.22,
)
ATTRIBUTES = pd.DataFrame(
    [
        ("easy paddle", "row", "easy"),
        ("steady row", "row", "moderate"),
        ("row intervals", "row", "hard"),
        ("heavy lifting", "lift", "hard"),
        ("hill run", "run", "hard"),
    ],
    columns=["type", "mode", "effort"],
)


def demo_season() -> Simulated:
    """Return the demo season with the paths behind it."""
    rng = np.random.default_rng(SEED)
    plan = plan_of_demo(rng)
    return simulate(TRUTH, plan, rng)


def plan_of_demo(rng: np.random.Generator) -> Season:
    """Return what is done and on which nights, without readings yet."""
    days = pd.date_range(FIRST_NIGHT, periods=NIGHTS).to_numpy()
    missed = rng.choice(np.arange(1, NIGHTS - 3), size=11, replace=False)
    read = np.setdiff1d(np.arange(NIGHTS), missed)
    sensor = np.where(np.arange(NIGHTS) < NEW_SENSOR_FROM, "finger clip", "chest strap")
    return plan_season(
        "demo",
        pd.DataFrame({"date": days[read], "sensor": sensor[read]}),
        _sessions(days, rng),
        ATTRIBUTES,
        _interventions(days, rng),
        pd.DataFrame({"date": days[list(COLD)], "stressor": "head cold"}),
    )


def _sessions(days: Any, rng: np.random.Generator) -> pd.DataFrame:
    """Return sessions one to three days apart, none in the rest, none during the cold."""
    names = ATTRIBUTES["type"].to_list()
    rows = []
    day = REST
    queue: list[str] = []
    while day < NIGHTS - 1:
        queue = queue or list(rng.permutation(names))
        if day not in range(COLD[0] - 1, COLD[-1] + 5):
            dose = rng.choice([0.7, 1.0, 1.0, 1.0, 1.3])
            rows.append((days[day], queue.pop(), float(dose)))
        day += int(rng.choice([1, 2, 2, 3]))
    return pd.DataFrame(rows, columns=["date", "type", "dose"])


def _interventions(days: Any, rng: np.random.Generator) -> pd.DataFrame:
    """Return each measure on every day of half of the training weeks, drawn at random."""
    weeks = np.arange(REST // 7, NIGHTS // 7)
    rows = []
    for name in TRUTH.rate_ratios:
        for week in sorted(rng.choice(weeks, size=len(weeks) // 2, replace=False)):
            rows += [(days[7 * week + k], name) for k in range(7)]
    return pd.DataFrame(rows, columns=["date", "intervention"])


def write(folder: Path) -> None:
    """Write the demo season's files and its truth."""
    simulated = demo_season()
    tables = simulated.season.tables()
    for name in ("readings", "sessions", "types", "interventions", "stressors"):
        shown = (
            tables[name]
            .rename(columns={"log_rmssd": "rmssd_ms"})
            .drop(columns=UNKNOWN, errors="ignore")
        )
        if name == "readings":
            shown["rmssd_ms"] = np.exp(shown["rmssd_ms"]).round(1)
        text = shown.to_csv(index=False, date_format="%Y-%m-%d", lineterminator="\n")
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "truth.json").write_text(json.dumps(_truth(simulated), indent=1) + "\n")


def _truth(simulated: Simulated) -> dict[str, Any]:
    return {
        "made_by": "python tests/demo_season.py",
        "seed": SEED,
        "typical_days": TRUTH.typical_days(),
        "types": {k: i._asdict() for k, i in TRUTH.types.items()},
        "start": TRUTH.start._asdict(),
        "stressors": {k: i._asdict() for k, i in TRUTH.stressors.items()},
        "rate_ratios": dict(TRUTH.rate_ratios),
        "lifts": {name: TRUTH.lifts.get(name, 0.0) for name in TRUTH.rate_ratios},
        "sensor_steps": dict(TRUTH.sensor_steps),
        "noise_sd": TRUTH.noise_sd,
        "noise_tail": TRUTH.noise_tail,
        "drift_sd": TRUTH.drift_sd,
        "session_sd": TRUTH.session_sd,
        "baseline_rmssd_ms_on_last_night": float(np.exp(simulated.baseline[-1])),
        "dip_left_ln_on_last_night": float(simulated.dip[-1]),
    }


if __name__ == "__main__":
    write(DEMO_DATA)
