"""One night from its file, and why there is none."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats.night import Asked, measure
from slackwater.fitting.beats.recording import RecordingError
from slackwater.model.errors import NoAnswerError
from tests.fitting.beats.nights import night, with_artefacts, write_intervals, write_stamped

RNG = np.random.default_rng(0)
RR_MS = night(RNG, hours=1.5)
FIRST = dt.datetime(2031, 5, 1, 23, 10)


def test_a_night_tells_how_it_was_read(tmp_path: Path) -> None:
    spoilt = with_artefacts(RR_MS, np.random.default_rng(1))
    found = measure(write_stamped(tmp_path / "a.csv", spoilt, FIRST), Asked())
    made = found.night
    assert made.date == dt.date(2031, 5, 2)
    assert made.beats == len(spoilt) == len(found.recording.rr_ms)
    assert made.kept_share == found.counted.mean()
    assert sum(made.taken_out.values()) == made.beats - found.counted.sum()
    assert made.ln_rmssd == np.log(made.rmssd_ms)
    assert made.starts == "2031-05-01T23:10:00"
    assert made.from_hours == 0
    assert made.to_hours == pytest.approx(spoilt.sum() / 3.6e6)
    assert made.gaps == 0
    assert made.minds == ()
    assert made.rule.facts["percent"] == 20


def test_a_window_makes_the_reading_alone(tmp_path: Path) -> None:
    path = write_stamped(tmp_path / "a.csv", RR_MS, FIRST)
    made = measure(path, Asked(begin=dt.time(23, 30), end=dt.time(0, 30))).night
    assert made.to_hours - made.from_hours == pytest.approx(1.0)
    inside = (np.cumsum(RR_MS) >= 1_200_000) & (np.cumsum(RR_MS) <= 4_800_000)
    assert made.beats == pytest.approx(inside.sum(), abs=1)
    assert made.rmssd_ms == pytest.approx(np.sqrt(np.mean(np.diff(RR_MS[inside]) ** 2)), rel=0.02)


def test_the_date_asked_for_comes_first(tmp_path: Path) -> None:
    path = write_stamped(tmp_path / "2031-04-01.csv", RR_MS, FIRST)
    assert measure(path, Asked(date=dt.date(2031, 6, 1))).night.date == dt.date(2031, 6, 1)
    plain = write_intervals(tmp_path / "2031-04-02.txt", RR_MS)
    assert measure(plain, Asked()).night.date == dt.date(2031, 4, 2)
    with pytest.raises(RecordingError, match=r"neither its name nor its content .* --date"):
        measure(write_intervals(tmp_path / "night.txt", RR_MS), Asked())


@pytest.mark.parametrize(
    ("rr_ms", "code"),
    [
        (RR_MS[:100], "too short a recording"),
        (np.where(np.arange(1000) % 3, 1000.0, 500.0) + np.arange(1000) % 7, "too few beats kept"),
        (np.full(1000, 1000.0), "intervals all alike"),
    ],
)
def test_what_supports_no_reading_is_refused(tmp_path: Path, rr_ms: np.ndarray, code: str) -> None:
    path = write_intervals(tmp_path / "2031-05-02.txt", rr_ms)
    with pytest.raises(NoAnswerError) as refused:
        measure(path, Asked())
    assert [reason.code for reason in refused.value.reasons] == [code]


def test_what_is_to_be_minded_is_told(tmp_path: Path) -> None:
    """Of a normal spread, 20 % of the interval cut at 2.4 standard deviations."""
    lively = night(RNG, hours=0.5, middle_ms=900, rmssd_ms=110)
    [mind] = measure(write_intervals(tmp_path / "2031-05-02.txt", lively), Asked()).night.minds
    assert mind.code == "rule cuts into the spread"
    assert mind.facts["dates"] == ["2031-05-02"]
    day = night(RNG, hours=17)
    [mind] = measure(write_intervals(tmp_path / "2031-05-03.txt", day), Asked()).night.minds
    assert mind.code == "longer than a night"
