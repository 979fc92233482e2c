"""A season folder on disk with a posterior made by hand, under any names."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from slackwater.fitting import read_season
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known

NIGHTS = 40


class Names(NamedTuple):
    """What the parts of a season are called: three types, a measure, an attribute's values."""

    hard: str
    easy: str
    measure: str
    column: str
    values: tuple[str, str]
    stressor: str
    other: str  # a type that takes months


def write(folder: Path, names: Names) -> None:
    """Write a season of those names into a folder, and a posterior of it."""
    types = [names.hard, names.easy, names.other]
    days = [FIRST + DAY * day for day in range(NIGHTS)]
    sessions = [(days[2 * i], types[i % 3]) for i in range(18)]
    _write(
        folder / "readings.csv", ["date", "rmssd_ms"], [(day, 60 + i) for i, day in enumerate(days)]
    )
    _write(folder / "sessions.csv", ["date", "type"], [*sessions, (days[-1], names.hard)])
    attributes = [(names.hard, names.values[0]), (names.easy, names.values[1])]
    _write(
        folder / "types.csv", ["type", names.column], [*attributes, (names.other, names.values[0])]
    )
    used = [(day + DAY, names.measure) for day, _ in (*sessions[::5], *sessions[1::5])]
    _write(folder / "interventions.csv", ["date", "intervention"], used)
    _write(folder / "stressors.csv", ["date", "stressor"], [(days[9], names.stressor)])
    spread = np.linspace(0.5, 2.0, 200)
    known = Known(
        {names.hard: (0.4, spread), names.easy: (0.05, 1.0), names.other: (0.2, 30 * spread)},
        stressors={names.stressor: (0.1, 1.0)},
        rate_ratios={names.measure: 1 + spread},
        dips_left={names.hard: 0.1 * spread},
        level=4.6,
    )
    by_hand.posterior(read_season(folder), known, draws=100).save(folder)


def write_season(folder: Path, season: Season, known: Known) -> None:
    """Write a season into a folder, and a posterior of it."""
    for name, table in season.tables().items():
        if not table.empty:
            shown = table.rename(columns={"log_rmssd": "ln_rmssd"})
            shown.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    by_hand.posterior(read_season(folder), known, draws=100).save(folder)


def _write(path: Path, header: list[str], rows: Sequence[tuple[object, ...]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])
