"""Dates in many forms, and the orders that they allow."""

from __future__ import annotations

import datetime as dt

import pytest
from babel.dates import format_date
from hypothesis import given
from hypothesis import strategies as st

from slackwater.fitting.importing.dates import (
    Moment,
    Order,
    day_number,
    looks_dated,
    moment,
    orders,
)

DAY = dt.date(2031, 5, 4)


@pytest.mark.parametrize(
    ("cell", "order"),
    [
        ("2031-05-04", "day-first"),
        ("2031/5/4", "month-first"),
        ("20310504", "day-first"),
        ("04.05.2031", "day-first"),
        ("4. 5. 2031", "day-first"),
        ("5/4/2031", "month-first"),
        ("05-04-31", "month-first"),
        ("31/05/04", "year-first"),
        ("So, 04.05.2031", "day-first"),
        ("Sunday 4 May 2031", "month-first"),
        ("May 4th, 2031", "day-first"),
        ("04-May-31", "day-first"),
        ("4 de mayo de 2031", "day-first"),
        ("4. Mai 2031", "day-first"),
        (dt.date(2031, 5, 4), "month-first"),
        (47972, "days-since-1900"),
        ("46510", "days-since-1904"),
    ],
)
def test_a_date_is_read(cell: str | int | dt.date, order: Order) -> None:
    assert moment(cell, order) == Moment(DAY)


@pytest.mark.parametrize(
    ("cell", "hour"),
    [
        ("2031-05-04T06:41:00+02:00", 6),
        ("2031-05-04 06:41:12.5Z", 6),
        ("04.05.2031, 22:10 Uhr", 22),
        ("04.05.2031 10:10 PM", 22),
        ("04.05.2031 12:10 am", 0),
        (dt.datetime(2031, 5, 4, 22, 10), 22),
        (dt.datetime(2031, 5, 4), None),
        (47972.75, None),
    ],
)
def test_the_hour_is_read(cell: str | float | dt.datetime, hour: int | None) -> None:
    found = moment(cell, "day-first")
    assert found == (None if isinstance(cell, float) else Moment(DAY, hour))


@pytest.mark.parametrize(
    "cell",
    [
        "",
        "4.5.",
        "31.02.2031",
        "4 Foo 2031",
        "2031-13-40",
        "1899-01-01",
        "99.99.9999",
        "x" * 70,
        None,
        True,
        "12:30",
        5.5,
    ],
)
def test_what_is_no_date_is_none(cell: str | float | None) -> None:
    assert not looks_dated(cell)
    assert not day_number(cell)


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        (["03.04.2031", "05.06.2031"], ["day-first", "month-first"]),
        (["03.04.2031", "13.06.2031"], ["day-first"]),
        (["03/04/2031", "06/13/2031"], ["month-first"]),
        (["05/05/2031"], ["day-first"]),
        (["31/05/04", "31/05/14"], ["day-first", "year-first"]),
        (["31/05/04", "32/05/04"], ["year-first"]),
        (["2031-05-04"], ["day-first"]),
        (["47972"], ["days-since-1900", "days-since-1904"]),
        (["x"], []),
    ],
)
def test_the_data_decide_the_order_or_do_not(cells: list[str], found: list[Order]) -> None:
    assert orders(cells) == found


@pytest.mark.parametrize(
    "language", ["en_GB", "de", "fr", "es", "it", "nl", "pt", "sv", "da", "nb"]
)
@given(day=st.dates(dt.date(1990, 1, 1), dt.date(2089, 12, 31)))
def test_dates_are_read_as_cldr_writes_them(language: str, day: dt.date) -> None:
    """Source: the long and the short form of each language in Unicode CLDR, as Babel has them."""
    long = format_date(day, "long", locale=language)
    assert moment(long, "day-first") == Moment(day), long
    short = format_date(day, "short", locale=language)
    assert moment(short, "day-first") == Moment(day), short
