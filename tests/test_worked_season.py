"""The worked season's page: its first days run as it shows, and its end is there."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studies.invented_rower import DAY, Rower, true_days
from tests.studies.worked_season import PAGE, Page
from tests.studies.worked_stages import SEED, first_days


def test_the_first_days_run_as_the_page_shows(tmp_path: Path) -> None:
    page = Page(tmp_path)
    first_days(page, Rower(page.season, SEED))
    shown = PAGE.read_text(encoding="utf-8")[: len(page.text)]
    assert shown == page.text, "write it anew: python -m tests.studies.worked_season"


def test_the_page_goes_to_the_end() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for command in (
        "check", "fit", "washout", "recovery", "repeats", "elements", "spacing", "trial plan",
        "trial today", "trial analyse", "trial ledger", "history",
    ):  # fmt: skip
        assert f"\n$ slackwater {command} my-season" in text
    assert "Traceback" not in text
    assert "## The truth behind it" in text


def test_the_rower_recovers_on_the_true_day(tmp_path: Path) -> None:
    rower = Rower(tmp_path / "season", 1)
    for _ in range(60):
        rower.wake()
    rower._size[:] = 1.0  # a typical session
    rower.train("hill run")
    begun = rower.night
    for _ in range(8):
        rower.wake()
    days = true_days()["hill run"]
    back = [rower.recovered_on(begun + day * DAY) for day in range(1, 9)]
    assert back == [day >= days for day in range(1, 9)]


def test_a_measure_speeds_the_rower_up_by_its_ratio(tmp_path: Path) -> None:
    rower = Rower(tmp_path / "season", 1)
    rower.wake()
    first = rower.night
    rower.used = {first: ["river dip"], first + DAY: ["river dip", "beet juice"]}
    assert rower._elapsed(first, first + 3 * DAY) == pytest.approx(1.6 + 1.6 + 1)
