"""Names that nearly equal a known one, by published examples of the distance."""

from __future__ import annotations

import datetime as dt

import pytest

from slackwater.fitting.doubts.history import History
from slackwater.fitting.doubts.labels import alike, distance, doubtful
from slackwater.fitting.intake.cells import InterventionRow, ReadingRow, SessionRow, StressorRow

DAY = dt.date(2031, 5, 6)


@pytest.mark.parametrize(
    ("a", "b", "slips"),
    [
        ("kitten", "sitting", 3),  # the usual worked example of Levenshtein's distance
        ("saturday", "sunday", 3),  # likewise
        ("ca", "abc", 3),  # Boytsov 2011, ACM JEA 16: 1.1: no letter is touched twice
        ("hill", "hlil", 1),  # Damerau 1964: two neighbours swapped
        ("hill", "hil", 1),
        ("hill", "hiill", 1),
        ("hill", "hull", 1),
        ("", "abc", 3),
        ("same", "same", 0),
    ],
)
def test_the_distance_counts_slips(a: str, b: str, slips: int) -> None:
    assert distance(a, b) == distance(b, a) == slips


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ("hill run", "Hill Run"),
        ("hill run", "hill  run"),
        ("hill run", "hill\u2013run"),
        ("hill run", "run hill"),
        ("hill run", "hill runs"),
        ("head cold", "haed cold"),
        ("fi\u00e8vre", "fie\u0300vre"),
    ],
)
def test_names_that_may_be_a_slip_for_each_other(a: str, b: str) -> None:
    assert alike(a, b)
    assert alike(b, a)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ("run", "row"),
        ("row", "bow"),
        ("bike", "hike"),
        ("row 4 km", "row 5 km"),
        ("zone 1", "zone 2"),
        ("easy run", "easy row"),
        ("hill run", "hill bike"),
    ],
)
def test_names_that_are_two_things(a: str, b: str) -> None:
    assert not alike(a, b)


def test_of_two_that_are_alike_the_rarer_is_asked_about() -> None:
    rows = [SessionRow(DAY, "hill run")] * 5 + [SessionRow(DAY, "hill rum")]
    history = History(rows)
    (reason,) = doubtful(rows[-1], history, inside=True)
    assert reason.facts["known"] == "hill run"
    assert list(doubtful(rows[0], history, inside=True)) == []


def test_names_logged_often_are_two_things_unless_the_eye_cannot_tell_them() -> None:
    often = [SessionRow(DAY, "hall run")] * 4 + [SessionRow(DAY, "hill run")] * 5
    assert list(doubtful(often[0], History(often), inside=True)) == []
    often = [SessionRow(DAY, "Hill Run")] * 4 + [SessionRow(DAY, "hill run")] * 5
    (reason,) = doubtful(often[0], History(often), inside=True)
    assert reason.facts["known"] == "hill run"


def test_a_name_that_was_taken_once_is_known_from_then_on() -> None:
    history = History([SessionRow(DAY, "hill run"), SessionRow(DAY, "hill runs")])
    assert list(doubtful(SessionRow(DAY, "hill runs"), history)) == []


def test_a_number_is_no_name_where_no_other_name_is_one() -> None:
    history = History([ReadingRow(DAY, rmssd_ms=60.0, sensor="strap")])
    (comma,) = doubtful(ReadingRow(DAY, rmssd_ms=66.0, sensor="4"), history)
    assert (comma.code, comma.facts["meant"]) == ("decimal comma", "66.4")
    (shifted,) = doubtful(ReadingRow(DAY, rmssd_ms=66.4, sensor="2031"), history)
    assert shifted.code == "a number for a name"
    numbered = History([ReadingRow(DAY, rmssd_ms=60.0, sensor="1")])
    assert list(doubtful(ReadingRow(DAY, rmssd_ms=66.0, sensor="2"), numbered)) == []


def test_a_name_of_another_column_is_asked_about_once() -> None:
    history = History([StressorRow(DAY, "head cold"), InterventionRow(DAY, "sauna")])
    (reason,) = doubtful(SessionRow(DAY, "Sauna"), history)
    assert (reason.code, reason.facts["known_as"]) == ("known as another thing", "intervention")
    history.add(SessionRow(DAY, "Sauna"))
    assert list(doubtful(SessionRow(DAY, "Sauna"), history)) == []
