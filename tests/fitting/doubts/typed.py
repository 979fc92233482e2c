"""Rows as they come, from files' lines and from made tables, and seasons to hold them against."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from slackwater.fitting.intake.cells import (
    COLUMNS,
    DayRow,
    InterventionRow,
    ReadingRow,
    Row,
    SessionRow,
    StressorRow,
    TypeRow,
)
from slackwater.model.priors import LN_2, Belief, Priors
from slackwater.model.simulator import Impulse, Truth, simulate
from tests.demo_season import TRUTH, plan_of_demo

DEMO: Final = Path(__file__).parents[3] / "demo_data"
# The order in which a day is logged: the night that ended, then what was done.
KINDS: Final = {k.file: k for k in (ReadingRow, SessionRow, InterventionRow, StressorRow)}


def row_of(file: str, cells: Mapping[str, str]) -> DayRow:
    """Return a file's row; raises `CellError` where a cell does not hold what it may."""
    kind = KINDS[file]
    columns = COLUMNS[kind]
    return kind(**{n: columns[n].read(cell, ".") for n, cell in cells.items() if n in columns})


def demo_rows() -> list[Row]:
    """Return the demo season's rows, as they came; its types first."""
    rows: list[DayRow] = []
    for file in KINDS:
        with (DEMO / f"{file}.csv").open(encoding="utf-8") as lines:
            rows += [row_of(file, cells) for cells in csv.DictReader(lines)]
    with (DEMO / "types.csv").open(encoding="utf-8") as lines:
        types = [TypeRow(cells["type"]) for cells in csv.DictReader(lines)]
    return [*types, *as_they_came(rows)]


def made_rows(tables: Mapping[str, pd.DataFrame]) -> list[DayRow]:
    """Return the rows of a made season, as they came; readings with a decimal, as logged."""
    rows: list[DayRow] = []
    for file, kind in KINDS.items():
        for cells in tables[file].to_dict("records") if file in tables else ():
            rows.append(kind(**{str(n): _plain(n, v) for n, v in cells.items()}))
    return as_they_came(rows)


def drawn_season(seed: int) -> list[DayRow]:
    """Return the rows of a season of an athlete drawn from the model's priors, as they came."""
    rng = np.random.default_rng([2031, seed])
    priors = Priors()

    def draw(belief: Belief) -> float:
        return float(np.exp(belief.mean + belief.sd * rng.standard_normal()))

    def impulse(dip: Belief, rate: Belief) -> Impulse:
        return Impulse(draw(dip), LN_2 / draw(rate))

    truth = Truth(
        baseline_ms=draw(priors.baseline),
        types={name: impulse(priors.type_dip, priors.type_rate) for name in TRUTH.types},
        start=impulse(priors.start_dip, priors.start_rate),
        stressors={"head cold": impulse(priors.stressor_dip, priors.stressor_rate)},
        rate_ratios={name: draw(priors.log_rate_ratio) for name in TRUTH.rate_ratios},
        lifts={name: float(priors.lift.sd * rng.standard_normal()) for name in TRUTH.rate_ratios},
        sensor_steps={"finger clip": float(priors.sensor_step.sd * rng.standard_normal())},
        noise_sd=draw(priors.noise_sd),
        noise_tail=draw(priors.noise_tail),
        drift_sd=draw(priors.drift_sd),
        session_sd=draw(priors.session_sd),
        first_night=draw(priors.first_night),
    )
    tables = simulate(truth, plan_of_demo(rng), rng).season.tables()
    readings = tables["readings"].assign(rmssd_ms=np.exp(tables["readings"]["log_rmssd"]))
    return made_rows({**tables, "readings": readings.drop(columns="log_rmssd")})


def as_they_came(rows: Sequence[DayRow]) -> list[DayRow]:
    order = list(KINDS)
    return sorted(rows, key=lambda row: (row.date, order.index(row.file)))


def _plain(name: Any, value: Any) -> Any:
    if isinstance(value, pd.Timestamp):
        return dt.date.fromisoformat(str(value.date()))
    return round(float(value), 1) if name == "rmssd_ms" else value
