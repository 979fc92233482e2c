"""Headers, and what stands around a table."""

from __future__ import annotations

from typing import Any

import pytest

from slackwater.fitting.importing.cells import Row, Sheet
from slackwater.fitting.importing.layout import days, part


def sheet(*rows: list[Any]) -> Sheet:
    return Sheet("", [Row(n, cells) for n, cells in enumerate(rows, start=1)])


@pytest.mark.parametrize(
    ("header", "words", "unit"),
    [
        ("HRV (ms)", "hrv", "ms"),
        ("HRV [ms]", "hrv", "ms"),
        ("rmssd_ms", "rmssd", "ms"),
        ("HRV (SDNN)", "hrv sdnn", ""),
        ("HRV (rMSSD, ms)", "hrv rmssd ms", "ms"),
        ("lnRMSSD", "lnrmssd", "ln"),
        ("ln RMSSD", "ln rmssd", "ln"),
        ("Duration (hh:mm)", "duration", ""),
        ("Müde?", "mude", ""),
        (None, "", ""),
    ],
)
def test_a_header_is_a_name_and_a_unit(header: str | None, words: str, unit: str) -> None:
    (_, found) = part(sheet(["date", header, "x"], ["2031-05-04", 50.0])).headers[:2]
    assert (found.words, found.unit) == (words, unit)


def test_what_stands_around_is_told_from_rows() -> None:
    layout = part(
        sheet(
            ["A diary"],
            [],
            ["Date", "RMSSD"],
            [None, "ms"],
            ["2031-05-04", 50.0],
            [],
            ["Date", "RMSSD"],
            ["2031-05-05", 51.0],
            [None, 52.0],
            ["May", None],
            ["Average", 50.5],
            ["2031-05-99", 1.0],
        )
    )
    assert (layout.line, layout.headers[1].unit) == (3, "ms")
    found = days(layout, 0)
    assert [row.number for row in found.rows] == [5, 8, 12]
    assert [row.number for row in found.undated] == [9]
    assert (found.totals, found.asides) == ([11], [7, 10])
