"""A season written as CSV, in many dialects, is read back as it was."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.fitting.intake import check_season, read_season
from slackwater.model.season import Season

Write = Callable[[Mapping[str, str | bytes]], Path]
Rows = list[dict[str, Any]]

FIRST = dt.date(2026, 1, 5)

dates = st.dates(FIRST, FIRST + dt.timedelta(days=90))
labels = (
    st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1, max_size=12)
    .map(str.strip)
    .filter(bool)
) | st.sampled_from(["row, then lift", '"long" loop', "Rudern ÄÖ", "<script>alert(1)</script>"])
notes = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.just("\n"), max_size=20)
positive = st.floats(1e-3, 1e3)
attributes = st.lists(labels.filter(lambda name: name != "type"), max_size=2, unique=True)


@st.composite
def seasons(draw: st.DrawFn) -> dict[str, Rows]:
    """Draw the rows of the five files, by file; every row has all columns."""
    one_day = {"date": dates}
    readings = st.fixed_dictionaries(
        one_day | {"rmssd_ms": st.floats(7, 500), "sensor": labels | st.just(""), "note": notes}
    )
    sessions = st.fixed_dictionaries(one_day | {"type": labels, "dose": positive, "note": notes})
    names = draw(attributes)
    types = st.fixed_dictionaries({"type": labels} | {name: labels | st.just("") for name in names})
    interventions = st.fixed_dictionaries(one_day | {"intervention": labels})
    stressors = st.fixed_dictionaries(one_day | {"stressor": labels})

    def rows(row: st.SearchStrategy[dict[str, Any]], *unique: str, least: int = 0) -> Rows:
        key = (lambda r: tuple(r[name] for name in unique)) if unique else None
        return draw(st.lists(row, min_size=least, max_size=6, unique_by=key))

    return {
        "readings": rows(readings, "date", least=1),
        "sessions": rows(sessions),
        "types": rows(types, "type"),
        "interventions": rows(interventions, "date", "intervention"),
        "stressors": rows(stressors, "date", "stressor"),
    }


def as_csv(rows: Rows, separator: str, decimal: str, line_end: str) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=line_end)
    writer.writerow(rows[0])
    for row in rows:
        cells = [row[name] for name in rows[0]]
        writer.writerow(
            repr(cell).replace(".", decimal) if isinstance(cell, float) else cell for cell in cells
        )
    return text.getvalue()


@given(
    tables=seasons(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_season_in_any_dialect(
    tmp_path: Path,
    tables: dict[str, Rows],
    separator: str,
    decimal: str,
    line_end: str,
    encoding: str,
) -> None:
    for name, rows in tables.items():
        file = tmp_path / f"{name}.csv"
        file.unlink(missing_ok=True)
        if rows:
            file.write_bytes(as_csv(rows, separator, decimal, line_end).encode(encoding))
    (tmp_path / "season.toml").write_text(
        f"[csv]\nseparator = {json.dumps(separator)}\n"
        f'decimal = "{decimal}"\nencoding = "{encoding}"\n'
    )
    beside = {name: pd.DataFrame(rows) for name, rows in tables.items() if rows}
    expected = Season.from_tables("any", beside.pop("readings"), **beside)
    check = check_season(tmp_path)
    assert check.problems == ()
    assert check.season is not None
    assert check.season.fingerprint() == expected.fingerprint()
    assert check.season.data.equals(expected.data)


def test_pandas_reads_the_same_numbers(season_folder: Write) -> None:
    rng = np.random.default_rng(sum(map(ord, "intake")))
    values = np.exp(rng.normal(4, 0.3, 60))
    days = pd.date_range("2026-01-01", periods=60)
    texts = [f"{value:.{1 + row % 9}f}" for row, value in enumerate(values)]
    rows = [f"{day:%Y-%m-%d},{text}" for day, text in zip(days, texts, strict=True)]
    folder = season_folder({"readings.csv": "\r\n".join(["date,rmssd_ms", *rows, "", ""])})
    read = pd.read_csv(folder / "readings.csv", parse_dates=["date"])
    season = read_season(folder)
    assert season.data["log_rmssd"].values == pytest.approx(
        np.log(read["rmssd_ms"].to_numpy()), rel=1e-14
    )
    assert season.nights.tolist() == [day.date() for day in read["date"]]


def test_the_files_and_columns_that_may_be_left_out(season_folder: Write) -> None:
    season = read_season(season_folder({"readings.csv": "rmssd_ms,date\n50,2026-01-05\n"}))
    assert season.name == "spring"
    assert season.nights.tolist() == [FIRST]
    assert season.data["log_rmssd"].values.tolist() == [np.log(50.0)]
    assert season.sensors == ["sensor"]
    assert (season.types, season.interventions, season.stressors) == ([], [], [])


def test_an_empty_dose_is_the_usual_one(season_folder: Write) -> None:
    files = {
        "readings.csv": "date,rmssd_ms\n2026-01-05,50\n2026-01-09,50\n",
        "sessions.csv": "dose,type,date\n,row,2026-01-05\n0.5,row,2026-01-06\n",
    }
    assert read_season(season_folder(files)).data["dose"].values.tolist() == [1.0, 0.5]


def test_natural_logarithms_are_taken_as_they_are(season_folder: Write) -> None:
    folder = season_folder({"readings.csv": "date,ln_rmssd\n2026-01-05,3.75\n2026-01-06,4\n"})
    assert read_season(folder).data["log_rmssd"].values.tolist() == [3.75, 4.0]


def test_attributes_without_types_or_sessions(season_folder: Write) -> None:
    files = {
        "readings.csv": "date,rmssd_ms\n2026-01-05,50\n",
        "types.csv": "type,mode,effort\n",
    }
    season = read_season(season_folder(files))
    assert season.attributes == ["mode", "effort"]
    assert season.observed().types == []


def test_other_names_and_another_dialect(season_folder: Write) -> None:
    files: dict[str, str | bytes] = {
        "season.toml": 'name = "Frühling auf dem Fluss"\n'
        '[csv]\nseparator = ";"\ndecimal = ","\nencoding = "cp1252"\n'
        '[columns.readings]\ndate = "Tag"\nrmssd_ms = "RMSSD; ms"\n'
        '[columns.sessions]\ntype = "Training"\n[columns.types]\ntype = "Training"\n'
        '[columns.interventions]\nintervention = "Maßnahme"\n'
        '[columns.stressors]\nstressor = "Last"\n',
        "readings.csv": 'Tag;"RMSSD; ms"\r\n2026-01-05;52,5\r\n2026-01-06;48\r\n\r\n;\r\n',
        "sessions.csv": "date;Training;dose\r\n2026-01-05;Hügel;0,5\r\n".encode("cp1252"),
        "types.csv": "Training;Art\r\nHügel;Lauf\r\n".encode("cp1252"),
        "interventions.csv": "date;Maßnahme\r\n2026-01-05;Sauna\r\n".encode("cp1252"),
        "stressors.csv": "date;Last\r\n2026-01-05;Reise\r\n",
    }
    check = check_season(season_folder(files))
    assert (check.problems, check.notes) == ((), ())
    season = check.season
    assert season is not None
    assert season.name == "Frühling auf dem Fluss"
    assert np.exp(season.data["log_rmssd"].values) == pytest.approx([52.5, 48])
    assert (season.types, season.attributes) == (["Hügel"], ["Art"])
    assert season.data["dose"].values.tolist() == [0.5]
    assert (season.interventions, season.stressors) == (["Sauna"], ["Reise"])


def test_nothing_is_written(season_folder: Write) -> None:
    folder = season_folder({"readings.csv": "date,rmssd_ms,mood\n2026-01-05,50,fine\n"})
    before = {path: path.read_bytes() for path in folder.iterdir()}
    read_season(folder)
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
