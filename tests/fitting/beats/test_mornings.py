"""Which morning a night belongs to, and which hours of it are asked for."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from slackwater.fitting.beats.mornings import Edge, morning, morning_of, stamp_in, window_of
from slackwater.fitting.beats.recording import Recording, from_intervals
from slackwater.model.errors import QuestionError, Reason


def recording(hours: float, starts: str | None = None) -> Recording:
    rr_ms = np.full(int(hours * 3600), 1000.0)
    at = dt.datetime.fromisoformat(starts) if starts else None
    return from_intervals(rr_ms, Reason("read as intervals", unit="ms"), at)


@pytest.mark.parametrize(
    ("ended", "date"),
    [
        ("2031-05-02T06:10", "2031-05-02"),
        ("2031-05-02T00:01", "2031-05-02"),
        ("2031-05-02T15:30", "2031-05-02"),  # slept by day after a night shift
        ("2031-05-01T23:40", "2031-05-02"),  # stopped before midnight
        ("2031-12-31T18:00", "2032-01-01"),
    ],
)
def test_a_night_belongs_to_the_morning_on_which_it_ended(ended: str, date: str) -> None:
    assert str(morning_of(dt.datetime.fromisoformat(ended))) == date


@pytest.mark.parametrize(
    ("name", "day", "clock"),
    [
        ("2031-05-02.txt", "2031-05-02", None),
        ("night_20310502.csv", "2031-05-02", None),
        ("rr 2031-05-01T22-48-10 strap.csv", "2031-05-01", "22:48:10"),
        ("20310501_2248.rr", "2031-05-01", "22:48:00"),
        ("20310501T224810.edf", "2031-05-01", "22:48:10"),
        ("2031-05-01_01.txt", "2031-05-01", None),
    ],
)
def test_a_name_tells_a_date(name: str, day: str, clock: str | None) -> None:
    found = stamp_in(name)
    assert found is not None
    assert str(found.day) == day
    assert (found.starts and str(found.starts.time())) == clock


@pytest.mark.parametrize(
    "name", ["night.txt", "2031-13-02.txt", "120310502.txt", "1031-05-02.txt", "5-2-2031.txt",
             "2031-05-01 to 2031-05-02.txt", "2031-02-30.csv"],
)  # fmt: skip
def test_a_name_that_tells_none_or_two_tells_none(name: str) -> None:
    assert stamp_in(name) is None


def test_the_clock_of_the_last_beat_comes_before_the_name() -> None:
    stamped = recording(7, "2031-05-01T23:00")
    whole = window_of(stamped, None, None)
    assert str(morning(stamped, whole, "2031-04-01.txt")) == "2031-05-02"
    plain = recording(7)
    whole = window_of(plain, None, None)
    assert str(morning(plain, whole, "2031-05-01_2300.txt")) == "2031-05-02"
    assert str(morning(plain, whole, "2031-05-01.txt")) == "2031-05-01"  # is its morning
    assert morning(plain, whole, "night.txt") is None


def test_the_window_tells_the_night_of_a_whole_day() -> None:
    day = recording(24, "2031-05-01T10:00")
    window = window_of(day, dt.time(23), dt.time(6))
    assert (window.since_s / 3600, window.until_s / 3600) == (13, 20)
    assert str(morning(day, window, "x")) == "2031-05-02"


@pytest.mark.parametrize(
    ("starts", "begin", "end", "hours"),
    [
        ("2031-05-01T22:30", None, None, (0, 8)),
        ("2031-05-01T22:30", 1.0, 6.5, (1, 6.5)),
        ("2031-05-01T22:30", dt.time(23), dt.time(5), (0.5, 6.5)),
        ("2031-05-01T23:30", dt.time(23), dt.time(6), (0, 6.5)),  # begun later than asked
        ("2031-05-01T22:30", dt.time(23), dt.time(9), (0.5, 8)),  # ended sooner
        ("2031-05-01T22:30", None, dt.time(2), (0, 3.5)),
        ("2031-05-01T22:30", dt.time(4), None, (5.5, 8)),
        ("2031-05-01T23:30", dt.time(23), None, (0, 8)),
        ("2031-05-01T22:30", 2.0, dt.time(2), (2, 3.5)),
        (None, 2.0, None, (2, 8)),
    ],
)
def test_hours_are_asked_for_by_the_clock_or_from_the_start(
    starts: str | None, begin: Edge, end: Edge, hours: tuple[float, float]
) -> None:
    window = window_of(recording(8, starts), begin, end)
    assert (window.since_s / 3600, window.until_s / 3600) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("starts", "begin", "end", "said"),
    [
        (None, dt.time(23), None, "does not say at what time it starts"),
        (None, 9.0, None, "the recording lasts 8.0 hours"),
        (None, 3.0, 2.0, "No beats lie between these hours"),
        ("2031-05-01T22:30", dt.time(7), dt.time(9), "No beats lie between"),
    ],
)
def test_hours_without_beats_are_refused(
    starts: str | None, begin: Edge, end: Edge, said: str
) -> None:
    with pytest.raises(QuestionError, match=said):
        window_of(recording(8, starts), begin, end)
