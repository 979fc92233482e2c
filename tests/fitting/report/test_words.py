"""Numbers in words: rounded as said, ends outward, no certainty that there is not."""

from __future__ import annotations

import pytest
import xarray as xr

from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report import words
from slackwater.fitting.text import plural


def interval(low: float, median: float, high: float) -> xr.DataArray:
    return xr.DataArray([low, median, high], coords={"bound": ["low", "median", "high"]})


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ((3.14, 4.25, 5.26), "4.2 (3.1 to 5.3)"),
        ((0.0, 0.0, 0.04), "0.0 (0.0 to 0.0)"),
        ((-0.04, 1.0, 70.0), "1.0 (0.0 to over 60)"),
        ((-2.5, -1.25, 0.5), "-1.2 (-2.5 to 0.5)"),
        ((61.0, 62.0, 1e9), "over 60 (over 60 to over 60)"),
    ],
)
def test_days_have_one_decimal(days: tuple[float, float, float], said: str) -> None:
    assert words.days_range(interval(*days)) == said
    assert words.days_range(Interval(*days)) == said
    assert words.tight(interval(*days)) == said.replace(" to ", "–").replace("over ", ">")


def test_a_dip_is_what_it_takes_off_the_reading() -> None:
    # 0.20 ln is 18.1 %, 0.10 is 9.5 % (arithmetic: 1 - exp(-dip)).
    assert words.percent_dip(interval(0.1, 0.2, 0.3)) == "18 % (10 to 26)"
    assert words.tight_dip(interval(0.1, 0.2, 0.3)) == "18 % (10–26)"


def test_milliseconds_and_ratios() -> None:
    assert words.milliseconds(interval(54.6, 61.5, 70.4)) == "62 ms (55 to 70)"
    assert words.ratio(interval(1.104, 1.356, 1.7)) == "1.36 times (1.10 to 1.70)"


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "under 1 %"),
        (0.0049, "under 1 %"),
        (0.0051, "1 %"),
        (0.314, "31 %"),
        (0.9949, "99 %"),
        (0.9951, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_no_chance_is_nought_or_certain(share: float, said: str) -> None:
    assert words.chance(share) == said


@pytest.mark.parametrize(
    ("level", "said"),
    [
        (0.8, "8 times in 10"),
        (0.5, "5 times in 10"),
        (0.95, "95 times in 100"),
        (0.999, "99.9 times in 100"),
        (0.3, "3 times in 10"),
    ],
)
def test_a_level_is_said_as_a_count(level: float, said: str) -> None:
    assert words.out_of_ten(level) == said


def test_plurals() -> None:
    assert [plural(count, "night") for count in (0, 1, 2)] == [
        "0 nights",
        "1 night",
        "2 nights",
    ]
