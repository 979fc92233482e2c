"""Numbers in many forms, and the decimal marks that they allow."""

from __future__ import annotations

import datetime as dt

import pytest
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from slackwater.fitting.importing.numbers import Amount, Decimal, amount, decimals, missing


@pytest.mark.parametrize(
    ("cell", "decimal", "value", "unit"),
    [
        ("56,4", ",", 56.4, ""),
        ("1.234,5", ",", 1234.5, ""),
        ("1,234.5", ".", 1234.5, ""),
        ("1\u202f234,5", ",", 1234.5, ""),
        ("1'234.5", ".", 1234.5, ""),
        ("56 ms", ".", 56.0, "ms"),
        ("0,056 sec.", ",", 0.056, "s"),
        ("5e1", ".", 50.0, ""),
        ("1:05", ".", 65.0, "min"),
        ("1:05:30", ",", 65.5, "min"),
        (dt.time(1, 5), ",", 65.0, "min"),
        (56.4, ",", 56.4, ""),
        (-3, ".", -3.0, ""),
    ],
)
def test_a_number_is_read(
    cell: str | float | dt.time, decimal: Decimal, value: float, unit: str
) -> None:
    assert amount(cell, decimal) == Amount(value, unit)


@pytest.mark.parametrize(
    "cell", ["", "n/a", "-", None, True, "x", "5,6,7", "1.2.3", "12.34,5.6", "9" * 80]
)
def test_what_is_no_number_is_none(cell: str | None) -> None:
    assert amount(cell, ",") is None


@pytest.mark.parametrize(
    ("cells", "marks"),
    [
        (["56", "57"], ["."]),
        (["56,4", "57"], [","]),
        (["56.4", "57"], ["."]),
        (["1,234"], [".", ","]),
        (["1,234", "56.4"], ["."]),
        (["1.234", "56,4"], [","]),
        (["", "n/a"], ["."]),
    ],
)
def test_the_data_decide_the_mark_or_do_not(cells: list[str], marks: list[Decimal]) -> None:
    assert decimals(cells) == marks


@pytest.mark.parametrize(
    ("language", "mark"),
    [("en", "."), ("de", ","), ("fr", ","), ("de_CH", "."), ("sv", ","), ("es", ",")],
)
@given(value=st.decimals(0, 99_999, places=3, allow_nan=False))
def test_numbers_are_read_as_cldr_writes_them(language: str, mark: Decimal, value: object) -> None:
    """Source: the number formats of Unicode CLDR, as Babel has them."""
    written = format_decimal(value, locale=language)  # type: ignore[arg-type]
    found = amount(written, mark)
    assert found is not None, written
    assert found.value == pytest.approx(float(value), abs=1e-9)  # type: ignore[arg-type]


def test_what_stands_for_nothing() -> None:
    assert all(missing(cell) for cell in (None, "", "N/A", " - ", "NaN", "#DIV/0!"))
    assert not any(missing(cell) for cell in (0, "0", "x", False))
