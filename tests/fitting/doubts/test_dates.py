"""Dates that are slips, as they come in and in a file."""

from __future__ import annotations

import datetime as dt

import pytest

from slackwater.fitting.doubts.dates import doubtful, out_of_order, today_of
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import ReadingRow

FIRST = dt.date(2031, 1, 6)
DAYS = [FIRST + dt.timedelta(days=n) for n in range(180)]  # to 2031-07-04
SEASON = History(ReadingRow(day, rmssd_ms=60.0) for day in DAYS)


@pytest.mark.parametrize(
    ("date", "today", "codes"),
    [
        ("2031-07-05", "2031-07-05", []),
        ("2031-07-03", "2031-07-05", []),
        ("2031-04-20", "2031-07-05", []),  # logged late, within the season
        ("2031-12-24", "2031-12-24", []),  # after a long pause
        ("2030-12-28", "2031-07-05", []),  # what was done before the first reading
        ("2031-07-06", "2031-07-05", ["in the future"]),
        ("2032-07-05", "2031-07-05", ["in the future"]),
        ("2030-07-05", "2031-07-05", ["a slip of the date"]),
        ("2031-01-08", "2032-01-09", ["a slip of the date"]),
        ("2031-03-07", "2031-07-05", ["a slip of the date"]),
        ("2030-10-20", "2031-07-05", ["far from the others"]),
    ],
)
def test_a_date_is_held_against_today(date: str, today: str, codes: list[str]) -> None:
    day, now = dt.date.fromisoformat(date), dt.date.fromisoformat(today)
    assert [reason.code for reason in doubtful(day, SEASON, now)] == codes


def test_a_season_ahead_of_the_clock_has_its_own_calendar() -> None:
    clock = dt.date(2029, 5, 1)
    assert today_of(clock, SEASON) is None
    assert today_of(dt.date(2031, 7, 5), SEASON) == dt.date(2031, 7, 5)
    assert today_of(clock, History()) == clock
    assert list(doubtful(dt.date(2031, 7, 5), SEASON, None)) == []
    (year,) = doubtful(dt.date(2032, 7, 5), SEASON, None)
    assert year.facts["meant"] == "2031-07-05"
    assert [r.code for r in doubtful(clock, SEASON, None)] == ["far from the others"]
    assert list(doubtful(dt.date(2031, 7, 5), History(), clock)) == []  # an invented one begins


@pytest.mark.parametrize(
    ("slip", "place", "meant"),
    [
        ("2030-03-07", 60, "2031-03-07"),
        ("2032-03-07", 60, "2031-03-07"),
        ("2031-07-03", 60, "2031-03-07"),
        ("2032-07-04", 179, "2031-07-04"),
        ("2030-01-06", 0, "2031-01-06"),
    ],
)
def test_a_slip_in_a_file_stands_out_of_its_order(slip: str, place: int, meant: str) -> None:
    assert str(DAYS[place]) == meant
    days = [*DAYS[:place], dt.date.fromisoformat(slip), *DAYS[place + 1 :]]
    assert out_of_order(days) == {place: DAYS[place]}


def test_pauses_late_rows_and_files_in_no_order_are_let_be() -> None:
    assert out_of_order(DAYS) == {}
    assert out_of_order([]) == out_of_order(DAYS[:1]) == {}
    assert out_of_order([*DAYS, DAYS[20]]) == {}  # logged late, at the end
    assert out_of_order([*DAYS[:40], *DAYS[120:]]) == {}  # a pause of eleven weeks
    year_off = [day.replace(year=2032) for day in DAYS]
    assert out_of_order([*DAYS, *year_off]) == {}  # half a year's pause, then on
    assert out_of_order([*reversed(DAYS)]) == {}
