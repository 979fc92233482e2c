"""Nights against the readings that there are."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting.beats.merge import Beats, read_beats
from slackwater.fitting.beats.night import Asked
from slackwater.model.errors import QuestionError
from slackwater.model.season import Season
from tests.fitting.beats.nights import night, write_intervals


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    rng = np.random.default_rng(0)
    for day in (2, 3, 4):
        write_intervals(tmp_path / f"2031-05-0{day}.txt", night(rng, hours=0.2))
    return tmp_path


def season(**by_date: float) -> Season:
    dates = [f"2031-05-{name[1:]}" for name in by_date]
    readings = pd.DataFrame({"date": pd.to_datetime(dates), "rmssd_ms": [*by_date.values()]})
    return Season.from_tables("spring", readings)


def outcomes(answer: Beats) -> list[str]:
    return [entry.outcome for entry in answer.nights]


def test_a_night_is_new_the_same_or_another(nights: Path) -> None:
    first = read_beats(None, nights)
    assert outcomes(first) == ["new"] * 3
    same = round(first.nights[1].rmssd_ms, 2)
    there = season(d02=50.0, d03=same, d09=61.0)
    answer = read_beats(there, nights)
    assert outcomes(answer) == ["old kept", "same", "new"]
    assert [entry.was_ms for entry in answer.nights] == [pytest.approx(50), same, None]
    assert [row.date.day for row in answer.rows()] == [4]
    answer = read_beats(there, nights, replaces=True)
    assert outcomes(answer) == ["replaced", "same", "new"]
    assert answer.replaced == {dt.date(2031, 5, 2)}
    assert [row.date.day for row in answer.rows("strap")] == [2, 4]
    assert str(answer.about.last_night) == "2031-05-09"


def test_rows_hold_what_is_written(nights: Path) -> None:
    answer = read_beats(None, nights / "2031-05-02.txt")
    [row], [entry] = answer.rows("strap"), answer.nights
    assert row.rmssd_ms == round(entry.rmssd_ms, 2)
    assert row.ln_sd == round(entry.ln_sd, 4)
    assert (row.date, row.sensor) == (dt.date(2031, 5, 2), "strap")


def test_the_range_is_the_standard_errors(nights: Path) -> None:
    [entry] = read_beats(None, nights / "2031-05-02.txt", level=0.95).nights
    low, middle, high = np.log(entry.range_ms)
    assert (high - middle) / entry.ln_sd == pytest.approx(1.959964, abs=1e-6)
    assert middle - low == pytest.approx(high - middle)
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        read_beats(None, nights, Asked(), level=80)


def test_what_is_to_be_minded_with_many_nights_is_said_once(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    for day in (2, 3):
        rr_ms = night(rng, hours=0.2, middle_ms=900, rmssd_ms=110)
        write_intervals(tmp_path / f"2031-05-0{day}.txt", rr_ms)
    [mind] = read_beats(None, tmp_path).about.warnings
    assert mind.facts["dates"] == ["2031-05-02", "2031-05-03"]
