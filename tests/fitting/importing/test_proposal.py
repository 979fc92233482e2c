"""Exports of many shapes are understood, asked about, remembered."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from slackwater.fitting.intake.folder import read_rows
from tests.fitting.conftest import run
from tests.fitting.importing.exports import Export, exports

EXPORTS = exports()


def held(season: Path) -> dict[dt.date, float]:
    tables, _ = read_rows(season)
    return {e.values.date: e.values.rmssd_ms or 0.0 for e in tables.readings.entries}


@pytest.mark.parametrize("export", EXPORTS, ids=lambda export: export.name)
def test_an_export_is_taken_in_and_the_next_one_asks_nothing(
    tmp_path: Path, export: Export
) -> None:
    file, season = tmp_path / export.file, tmp_path / "season"
    file.write_bytes(export.content)
    ran = run("import", file, season, "--yes")
    if export.options:
        assert (ran.status, season.exists()) == (1, False)
        assert all(f"\n  {option} " in ran.err for option in export.asks), ran.err
        ran = run("import", file, season, "--yes", *export.options)
    assert (ran.status, ran.err) == (0, "" if export.readings else ran.err)
    assert held(season) == pytest.approx(export.readings, rel=1e-3)
    tables, _ = read_rows(season)
    assert len(tables.sessions.entries) == export.sessions
    assert len(tables.interventions.entries) == export.measures
    assert len(tables.stressors.entries) == export.stressors
    before = {path.name: path.read_bytes() for path in season.glob("*.*")}
    ran = run("import", file, season)
    assert ran.status == 0, ran.err
    assert "Nothing is new" in ran.out
    assert {path.name: path.read_bytes() for path in season.glob("*.*")} == before


def test_there_are_enough_of_them() -> None:
    assert len(EXPORTS) >= 25
