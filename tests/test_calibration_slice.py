"""A small, fixed slice of the calibration study, which a broken likelihood, prior or answer fails.

The whole study is `python -m tests.studies.calibration`. Bounds are binomial, for a false
alarm about once in 1,000 fresh sets of seeds; each check also has a control that must fail.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom, kstest

from slackwater.fitting import Athlete, recovery
from slackwater.model.season import Season
from tests.studies.asking import learn
from tests.studies.generator import make
from tests.studies.ranks import rank

pytestmark = pytest.mark.slow

SEASONS = range(200, 206)
DRAWN = range(500, 512)
FALSE_ALARM = 0.001


@pytest.fixture(scope="module")
def intervals() -> list[tuple[float, float, float]]:
    """Return low, high and truth of each type's typical days, over the seasons."""
    found = []
    for seed in SEASONS:
        made = make("as modelled", seed)
        season = Season.from_tables("made", **made.tables)
        types = recovery(Athlete(season, learn(season, seed)[0])).types
        for name in types["type"].values:
            days = types["typical_days"].sel(type=name)
            low, high = float(days.sel(bound="low")), float(days.sel(bound="high"))
            found.append((low, high, made.days[str(name)]))
    return found


def covered(intervals: list[tuple[float, float, float]], shift: float = 0.0) -> int:
    return sum(low - 1e-9 <= truth + shift <= high + 1e-9 for low, high, truth in intervals)


def test_intervals_of_typical_days_hold_the_truth_as_often_as_they_say(
    intervals: list[tuple[float, float, float]],
) -> None:
    """Types of one season share its noise, so the bound counts two of five as independent."""
    low, high = binom.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], 2 * len(SEASONS), 0.8)
    share = covered(intervals) / len(intervals)
    assert low / (2 * len(SEASONS)) <= share <= high / (2 * len(SEASONS))


def test_a_wrong_clock_would_be_noticed(intervals: list[tuple[float, float, float]]) -> None:
    """Two days counted too many or too few: nearly no interval holds that."""
    assert covered(intervals, shift=2.0) / len(intervals) < 0.2
    assert covered([i for i in intervals if i[2] >= 3], shift=-2.0) <= 0.2 * len(intervals)


@pytest.fixture(scope="module")
def drawn() -> list[dict[str, Any]]:
    return [rank(seed) for seed in DRAWN]


def test_ranks_of_the_truth_are_uniform(drawn: list[dict[str, Any]]) -> None:
    """Each quantity by Kolmogorov-Smirnov, with the false alarm shared among all."""
    names = drawn[0]["ranks"]
    p_values = {name: kstest([d["ranks"][name] for d in drawn], "uniform").pvalue for name in names}
    assert min(p_values.values()) > FALSE_ALARM / len(names), p_values


def test_the_fits_are_clean(drawn: list[dict[str, Any]]) -> None:
    """Prior draws hold extreme seasons, so a few fits in a hundred may have divergences."""
    clean = sum(d["divergences"] == 0 for d in drawn)
    assert clean >= len(drawn) - math.ceil(len(drawn) / 4)
    assert np.median([d["ess"] for d in drawn]) >= 150  # of 1,000 draws
