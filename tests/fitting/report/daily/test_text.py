"""What a logged line means, in words."""

from __future__ import annotations

import datetime as dt
from typing import Final

import pytest

from slackwater.fitting.daily.logged import Logged
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.logbook import Entered, TakenBack
from slackwater.fitting.mornings import Morning
from slackwater.fitting.report.daily import objects, text

DAY: Final = dt.date(2031, 7, 7)
MORNING: Final = Morning("2031-07-07", 61.4, 69.0, 78.4, 4.2, 0.1, [], [])


def logged(ms: float, expected: Morning | None = MORNING, first_fit: int | None = None) -> Logged:
    row = Row("readings", {"date": DAY, "rmssd_ms": ms})
    done = Entered("a reading", ["readings.csv"], [], {})
    return Logged("spring", row, DAY, done, DAY, expected, first_fit=first_fit)


@pytest.mark.parametrize(
    ("ms", "said"),
    [
        (66.0, "66 ms: 4 % under what was expected of you this morning: 69 ms, 8 times in 10"),
        (75.9, "75.9 ms: 10 % over what was expected of you this morning: 69 ms, 8 times in 10"),
        (69.2, "69.2 ms: what was expected of you this morning: 69 ms, 8 times in 10"),
    ],
)
def test_a_reading_is_held_against_what_was_expected(ms: float, said: str) -> None:
    assert text.against_expected(logged(ms), DAY) == f"{said} between 61 and 78."


@pytest.mark.parametrize(("ms", "where"), [(60.0, "below"), (80.0, "above")])
def test_one_outside_is_said_to_be(ms: float, where: str) -> None:
    said = text.against_expected(logged(ms), DAY + dt.timedelta(1))
    assert "of you on the morning of 2031-07-07: " in said
    assert said.endswith(f"between 61 and 78. It lies {where} these.")


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (1, "; the first fit takes 13 more readings."),
        (13, "; the first fit takes 1 more reading."),
        (14, "; there are readings enough to learn from:"),
    ],
)
def test_before_the_first_fit_what_is_missing_is_said(readings: int, said: str) -> None:
    lines = [*text.logged(logged(66.0, None, readings), "it", DAY)]
    assert lines == [
        "Logged it: readings.csv.",
        f"Nothing was learnt yet, so nothing was expected{said}",
    ]
    told = objects.logged(logged(66.0, None, readings))
    assert told["readings_until_first_fit"] == max(0, 14 - readings)
    assert told["expected_ms"] is told["percent"] is None


def test_what_was_undone_is_named() -> None:
    back = TakenBack("the reading of 2031-07-07 (66 ms)", ["readings.csv"], 2)
    assert [*text.taken_back(back)] == [
        "Took back the reading of 2031-07-07 (66 ms): readings.csv.",
        "Entries before it that can be undone as well: 2.",
    ]
    gone = TakenBack("it", [], 0)
    assert [*text.taken_back(gone)] == ["Took back it; its rows were gone already."]
