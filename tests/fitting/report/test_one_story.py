"""One story every morning: no two screens differ on the same thing, in four seasons."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fitting.conftest import Fitted
from tests.fitting.report.one_story import Story, four_seasons, rows

SEASONS = ("demo", "silent drop", "unplanned hill run", "trial")
EVERYWHERE = {  # of things that every season has, how many screens at least
    "chance of baseline this morning": 4,
    "first morning with four in five": 3,
    "chance of baseline tomorrow": 3,
    "baseline": 6,
    "range of baseline": 3,
    "state under baseline": 3,
    "reading": 4,
    "reading against baseline": 3,
    "days to plan with, hill run": 4,
    "recovery rate, river dip": 2,
    "the plan to come": 5,
}


@pytest.fixture(scope="module")
def seasons(demo: Fitted, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return four_seasons(demo.folder, tmp_path_factory.mktemp("four"))


@pytest.mark.parametrize("season", SEASONS)
def test_no_two_screens_differ(seasons: dict[str, Path], season: str) -> None:
    told = rows(Story(seasons[season]))
    assert {w: s for w, s in told.items() if len(set(s.values())) > 1} == {}
    few = {w: said for w, n in EVERYWHERE.items() if len(said := told.get(w, {})) < n}
    assert few == {}
    overtaken = season in ("silent drop", "unplanned hill run")
    assert set(told["the plan to come"].values()) == {"no longer holds" if overtaken else "holds"}
    assert ("drop that is unexplained" in told) == (season == "silent drop")
    assert ("the trial's word" in told) == (season == "trial")
