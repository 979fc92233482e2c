"""The unit guards, against published values."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.fitting.intake import check_season

Write = Callable[[Mapping[str, str | bytes]], Path]

# Nunan, Sandercock and Brodie 2010, PACE 33(11):1407-1417: 44 studies, 21,438 healthy adults,
# 5-minute RMSSD between 19 and 75 ms. Numbers taken from secondary texts that quote the table.
LOWEST_MS, HIGHEST_MS = 19.0, 75.0
OPEN_DATA = Path(__file__).parents[4] / "shared" / "opendata"

published = st.lists(st.floats(LOWEST_MS, HIGHEST_MS), min_size=1, max_size=28)


def write(folder: Path, column: str, values: list[float]) -> Path:
    rows = [f"2026-01-{day:02d},{value!r}" for day, value in enumerate(values, start=1)]
    (folder / "readings.csv").write_text("\n".join([f"date,{column}", *rows]) + "\n")
    return folder


def said(folder: Path) -> str:
    check = check_season(folder)
    return "\n".join(map(str, [*check.problems, *check.notes]))


@given(values=published)
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_published_values_are_never_flagged(tmp_path: Path, values: list[float]) -> None:
    no_session = "sessions.csv: no session is logged, so days to recover cannot be learnt"
    assert said(write(tmp_path, "rmssd_ms", values)) == no_session
    logs = [math.log(value) for value in values]
    assert said(write(tmp_path, "ln_rmssd", logs)) == no_session


@given(values=published)
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_other_unit_is_always_one_problem(tmp_path: Path, values: list[float]) -> None:
    for column, wrong, looks in (
        ("rmssd_ms", [math.log(value) for value in values], "looks like ln RMSSD, not milli"),
        ("rmssd_ms", [value / 1000 for value in values], "looks like seconds, not milliseconds"),
        ("ln_rmssd", values, "looks like milliseconds, not ln RMSSD"),
    ):
        (problem,) = check_season(write(tmp_path, column, wrong)).problems
        assert (problem.file, problem.line, problem.column) == ("readings.csv", 1, 2)
        assert looks in problem.what


@given(values=published)
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_base_10_called_ln_is_noted(tmp_path: Path, values: list[float]) -> None:
    tens = [math.log10(value) for value in values]
    assert "logarithms to base 10" in said(write(tmp_path, "ln_rmssd", tens))


def test_a_minority_of_low_readings_is_no_matter_of_units(season_folder: Write) -> None:
    rows = [f"2026-01-{day:02d},{6 if day % 2 else 50}" for day in range(1, 21)]
    folder = season_folder({"readings.csv": "\n".join(["date,rmssd_ms", *rows])})
    assert check_season(folder).problems == ()


def test_open_data_of_14_people_are_not_flagged(season_folder: Write) -> None:
    # mmReliability (MIT licence), resting level: RMSSD of 14 people, 3 sessions each.
    path = OPEN_DATA / "mmReliability_hrv.csv"
    if not path.exists():
        pytest.skip(f"no open data at {path}")
    table = pd.read_csv(path)
    values = table.loc[table["Level"] == 1, "RMSSD"].dropna().to_numpy(float)
    days = pd.date_range("2026-01-01", periods=len(values))
    rows = [f"{day:%Y-%m-%d},{value!r}" for day, value in zip(days, values.tolist(), strict=True)]
    folder = season_folder({"readings.csv": "\n".join(["date,rmssd_ms", *rows])})
    season = check_season(folder).season
    assert season is not None
    assert np.exp(season.data["log_rmssd"].values) == pytest.approx(values, rel=1e-12)
