"""What a fit is worth, as it is shown on a terminal."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, worth
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.reasons import sentences
from slackwater.model.errors import Reason
from tests.fitting.report.terminal.printing import printed


def test_text_and_json_hold_the_same(demo_athlete: Athlete) -> None:
    answer = worth(demo_athlete)
    found: Any = as_object(answer)
    shown = printed("worth", answer)
    assert max(map(len, shown.splitlines())) <= 80
    whole = " ".join(shown.split())
    for sentence in found["sentences"]:
        assert sentence in whole
    assert f"{100 * found['share_inside']:.0f} % lay in the range" in whole
    assert f"missed the reading by {found['mean_error_ms']:.1f} ms" in whole
    assert "without a divergent step in 4000 draws" in found["sentences"][0]
    assert len(found["nights"]) == found["judged"]
    assert found["share_inside"] == np.mean([night["inside"] for night in found["nights"]])
    night = found["nights"][-1]
    assert (night["date"], night["rmssd_ms"]) == ("2031-07-06", pytest.approx(66.6))
    assert night["foretold_ms"]["low"] < night["foretold_ms"]["high"]


@pytest.mark.parametrize(
    ("ranges", "said"),
    [
        ("as they should be", "so this is as it should be."),
        ("too narrow", "fewer than chance allows: the ranges are too narrow."),
        ("too wide", "more than chance allows: the ranges are too wide."),
    ],
)
def test_the_width_of_ranges_is_said(ranges: str, said: str) -> None:
    facts = {"readings": 99, "share": 0.8, "level": 0.8, "low": 0.7, "high": 0.9}
    (sentence,) = sentences([Reason("share inside", ranges=ranges, **facts)])
    assert sentence.startswith("Of 99 readings, 80 % lay in the range foretold for them")
    assert sentence.endswith(said)
