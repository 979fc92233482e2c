"""Numbers held against the model: the range by chance and the verdict are one rule."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from slackwater.fitting.describing.held import (
    GROUPS,
    Held,
    correlation,
    held,
    looked,
    percent,
    ratio,
)
from slackwater.fitting.describing.scores import Score


@pytest.mark.parametrize("cells", [1, 8])
@pytest.mark.parametrize("z", [-4.0, -2.7, -0.5, 2.6, 2.9, 3.3, 3.6])
def test_a_number_departs_where_it_lies_outside_its_range_by_chance(z: float, cells: int) -> None:
    found = Held(**held(Score(z, 0.03), 0.8, percent, cells=cells))
    low, _, high = found.by_chance
    assert found.departs == (not low <= found.value.median <= high)
    assert found.departs == (found.chance < 0.05)
    assert found.chance == pytest.approx(min(1, GROUPS * cells * 2 * stats.norm.sf(abs(z))))


def test_estimate_and_interval_are_in_the_numbers_own_unit() -> None:
    found = Held(**held(Score(-2.0, 0.04), 0.8, percent))
    half = stats.norm.ppf(0.9) * 0.04
    expected = [100 * math.expm1(-0.08 + side * half) for side in (-1, 0, 1)]
    assert [*found.value] == pytest.approx(expected)
    assert found.by_chance.median == 0
    power = Held(**held(Score(-2.0, 0.25), 0.8, float, model=1.0))
    assert power.value.median == 0.5
    assert power.by_chance.median == 1
    twice = Held(**held(Score(1.0, math.log(2)), 0.8, ratio))
    assert twice.value.median == pytest.approx(2)
    assert Held(**held(Score(9.0, 0.2), 0.8, correlation)).value.high == 1


def test_one_side_alone_counts_where_the_other_is_harmless() -> None:
    assert looked(Score(-9.0, 1.0), two_sided=False)["chance"] == 1
    assert looked(Score(4.0, 1.0), two_sided=False)["departs"]
