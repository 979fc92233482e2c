"""What a reading is made of, as it is shown on a terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len

from slackwater.fitting import explain
from slackwater.fitting.report.terminal.explain import how_often, sentences
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_athlete
from tests.fitting.conftest import Fitted, run
from tests.fitting.report.terminal.printing import printed

KNOWN = Known({"row": (0.3, 2.0), "lift": (0.2, 3.0)}, noise_sd=0.1, drift_sd=1e-6)


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.9, "on most nights"),
        (0.5, "about 1 night in 2"),
        (0.083, "about 1 night in 12"),
        (0.0004, "less than 1 night in 1000"),
    ],
)
def test_how_often(share: float, said: str) -> None:
    assert how_often(share) == said


def test_most_of_it_is_named_with_its_day() -> None:
    readings = np.full(40, 4.0)
    for day, dip in ((29, 0.3), (30, 0.3 * 0.5**0.5), (31, 0.15), (32, 0.3 * 0.5**1.5)):
        readings[day] -= dip
    season = by_hand.season(sessions=[(28, "row")], readings=readings[:33])
    athlete = whole_athlete(season, KNOWN._replace(noise_sd=0.01))
    said = " ".join(sentences(explain(athlete, FIRST + DAY * 29)))
    assert said.startswith("The 40 ms of 2031-03-30 is 26 % under your baseline of 55 ms")
    assert "Most of it is Saturday's row (26 %)." in said  # 29 March 2031
    today = " ".join(sentences(explain(athlete)))
    assert today.startswith("This morning's 49 ms is 10 % under your baseline")


def test_without_a_reading_nothing_is_said_of_noise() -> None:
    readings = np.full(30, 4.0)
    readings[22] = np.nan
    season = by_hand.season(sessions=[(20, "row")], readings=readings)
    said = " ".join(sentences(explain(whole_athlete(season, KNOWN), FIRST + DAY * 22)))
    assert said.startswith("There is no reading of 2031-03-23;")
    assert "oise" not in said


def text_and_json(folder: Path, *arguments: str) -> tuple[str, Any]:
    shown = run("explain", folder, *arguments)
    assert (shown.status, shown.err) == (0, "")
    return shown.out, json.loads(run("explain", folder, *arguments, "--json").out)


@pytest.mark.parametrize("night", ["2031-07-04", "2031-03-26", "2031-01-08"])
def test_text_shows_the_numbers_of_the_json(demo: Fitted, night: str) -> None:
    shown, found = text_and_json(demo.folder, "--night", night)
    assert max(map(len, shown.splitlines())) <= 80
    assert found["night"] == night
    baseline, under = found["baseline_rmssd_ms"], found["under_baseline_percent"]["median"]
    shown = shown.replace("\N{MINUS SIGN}", "-")  # so that int() reads it
    whole = " ".join(shown.split())
    assert f"The {found['reading_rmssd_ms']:.0f} ms of {night} is {under:.0f} % under" in whole
    assert f"{baseline['median']:.0f} ms ({baseline['low']:.0f} to {baseline['high']:.0f})" in whole
    cell = r"([+-]?\d+) \(([+-]?\d+) to ([+-]?\d+)\)"
    dated = [part for part in found["parts"] if part["date"]]
    assert dated or night == "2031-01-08"
    for part in dated:
        lines = re.findall(rf"^.*{part['date']} +{cell} +{cell}", shown, flags=re.MULTILINE)
        percent = {b: 100 * np.expm1(x) for b, x in part["share_ln"].items()}
        close = [
            all(
                abs(float(x) - y[b]) <= 0.5001
                for numbers, y in ((line[:3], percent), (line[3:], part["share_ms"]))
                for x, b in zip(numbers, ("median", "low", "high"), strict=True)
            )
            for line in lines
        ]
        assert any(close) or max(map(abs, percent.values())) < 1


def test_any_name_keeps_to_80_columns_and_is_shown_as_it_is() -> None:
    name = "[red]lift[/red] \N{ROWBOAT} " + 60 * "x"
    season = by_hand.season(30, [(27, name), (28, "row")])
    athlete = whole_athlete(season, Known({name: (0.3, 2.0), "row": (0.2, 1.0)}))
    lines = printed("explain", explain(athlete)).splitlines()
    assert max(map(cell_len, lines)) <= 80
    assert "[red]lift[/red]" in "".join(line[:16].strip() for line in lines)


def test_json_of_the_last_night_holds_the_contract(demo: Fitted) -> None:
    shown, found = text_and_json(demo.folder)
    assert {"schema", "season", "last_night", "level", "warnings"} <= set(found)
    assert found["night"] == found["last_night"] == "2031-07-06"
    assert "This morning's 67 ms is" in shown
    assert "no diagnosis" in shown
    assert found["parts"][-1]["kind"] == "noise"
    assert found["parts"][-1]["date"] is None
    assert 0 < found["noise_chance"] <= 1


@pytest.mark.parametrize("night", ["2031-7-4", "yesterday", "2031-07-07", "2030-01-01"])
def test_a_night_that_cannot_be_explained_is_refused(demo: Fitted, night: str) -> None:
    ran = run("explain", demo.folder, "--night", night)
    assert (ran.status, ran.out) == (2, "")
    assert night in ran.err


def test_no_posterior_no_explanation(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-01-06,60\n", encoding="utf-8")
    ran = run("explain", tmp_path)
    assert (ran.status, ran.out) == (1, "")
    assert "not fitted yet" in ran.err
