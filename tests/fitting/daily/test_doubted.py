"""A line that looks wrong is asked about before it is written, by the forecast if there is one."""

from __future__ import annotations

import datetime as dt
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder
from slackwater.fitting.daily.doubted import doubts_of_rows
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.state.ahead import look_ahead
from tests.fitting.conftest import Fitted, run
from tests.fitting.doubts.entries import WRONG, Wrong

NEXT = dt.date(2031, 7, 7)
COMMANDS = {"readings": "reading", "sessions": "session", "interventions": "intervention"}
# A line is one cell here: what slips into another column of a file cannot.
NOT_TYPED = {"ms as ln", "decimal comma as a column", "columns shifted"}
NOT_TOLD = {"56 for 65", "heart rate"}
CLOCK_ONLY = {"reading of tomorrow", "session of tomorrow"}  # the season lies ahead of the clock
REFUSED = {"dose of zero", "dose below zero"}
# The clock of these is another than the season's next day.
OTHER_DAY = {"last year in January"}


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


@pytest.fixture
def unfitted(tmp_path: Path) -> Path:
    copy_demo(tmp_path / "demo")
    return tmp_path / "demo"


@pytest.mark.parametrize(
    "wrong",
    [w for w in WRONG if w.name not in NOT_TYPED | CLOCK_ONLY | OTHER_DAY],
    ids=lambda wrong: wrong.name,
)
def test_a_wrong_line_is_refused_without_a_terminal(unfitted: Path, wrong: Wrong) -> None:
    before = files(unfitted)
    date, value, *more = wrong.line.split(",")
    options = {"readings": "--sensor", "sessions": "--dose"}
    given = [options[wrong.file], more[0]] if more and more[0] else []
    # Behind "--", so that -1 is no option.
    ran = run("log", COMMANDS[wrong.file], "--date", date, *given, "--", unfitted, value)
    if wrong.name in NOT_TOLD:
        assert ran.status == 0
        return
    assert ran.status == (2 if wrong.name in REFUSED else 1)
    assert files(unfitted) == before
    if wrong.name != "a night's second reading":  # it is told as what would be replaced
        assert wrong.mend in ran.err


def test_said_to_be_right_it_is_not_asked_about_again_and_undone_with_its_row(
    unfitted: Path,
) -> None:
    before = files(unfitted)
    line = ("log", "session", unfitted, "hill run", "--dose", "60", "--date", "2031-07-06")
    assert run(*line).status == 1
    told = run(*line, "--yes")
    assert told.status == 0
    assert "if it is minutes" in told.err
    assert "confirmed.csv says that it is right" in told.out.replace("\n", " ")
    assert SeasonFolder(unfitted).doubts == []
    assert run("log", "undo", unfitted).status == 0
    assert files(unfitted) == before


def test_in_a_season_of_logarithms_too(tmp_path: Path) -> None:
    rows = [f"2031-05-{day:02d},{math.log(60 + day % 5):.4f}" for day in range(1, 29)]
    (tmp_path / "readings.csv").write_text("\n".join(["date,ln_rmssd", *rows, ""]))
    line = ("log", "reading", tmp_path, "612.34", "--date", "2031-05-29")
    assert run(*line).status == 1
    assert run(*line, "--yes").status == 0
    assert SeasonFolder(tmp_path).doubts == []


def test_a_reading_is_judged_by_the_forecast_of_its_morning(demo_copy: Path) -> None:
    """The chance is that of a million readings simulated from the posterior, in the tails too."""
    folder = SeasonFolder(demo_copy)
    rng = np.random.default_rng(3)
    now = folder.now
    ahead = look_ahead(now, 1, [])
    centre = ahead.expected[:, 0] - ahead.shown[:, 0] + ahead.shift[:, 0]
    pick = rng.integers(0, len(centre), 1_000_000)
    level = np.sqrt(ahead.level_variance[pick, 0]) * rng.standard_normal(len(pick))
    tail = now.parameter("noise_tail")[pick] * rng.standard_normal(len(pick))
    own = now.parameter("noise_sd")[pick] / np.sqrt(1 + now.parameter("lingering_odds")[pick])
    noise = own * np.exp(tail / 2) * rng.standard_normal(len(pick))
    drawn = centre[pick] + level + noise
    low = math.exp(float(np.quantile(drawn, 0.0001)))

    (doubt,) = doubts_of_rows(demo_copy, [Row("readings", {"date": NEXT, "rmssd_ms": low})], NEXT)
    facts = doubt.reason.facts
    assert facts["basis"] == "forecast"
    assert facts["chance"] == pytest.approx(0.0002, rel=0.5)  # 400 draws of 4,000, and the million
    assert facts["expected_ms"] == pytest.approx(math.exp(float(np.median(drawn))), rel=0.01)
    usual = math.exp(float(np.quantile(drawn, 0.01)))
    assert (
        doubts_of_rows(demo_copy, [Row("readings", {"date": NEXT, "rmssd_ms": usual})], NEXT) == []
    )


def test_a_first_line_of_a_new_season_is_held_against_general_experience(tmp_path: Path) -> None:
    row = Row("readings", {"date": NEXT, "rmssd_ms": 4.2})
    (doubt,) = doubts_of_rows(tmp_path / "new", [row], NEXT)
    assert doubt.reason.facts["basis"] == "general experience"


def test_what_is_missing_of_the_fit_leaves_the_own_readings(demo: Fitted) -> None:
    late = Row("readings", {"date": dt.date(2031, 5, 1), "rmssd_ms": 640.0})
    doubts = doubts_of_rows(demo.folder, [late], NEXT)
    assert "own readings" in [doubt.reason.facts.get("basis") for doubt in doubts]


def test_a_person_at_a_terminal_is_told_what_was_probably_meant(unfitted: Path) -> None:
    """On a real terminal, a pseudo one: no writes nothing, yes writes that it is right as well."""
    pty = pytest.importorskip("pty")
    before = files(unfitted)
    words = [sys.executable, "-m", "slackwater.fitting", "log", "reading", str(unfitted), "660"]
    for answer, status in ((b"n\n", 1), (b"y\n", 0)):
        main, other = pty.openpty()
        asked = subprocess.Popen(
            [*words, "--date", "2031-07-07"], stdin=other, stdout=other, stderr=other
        )
        os.write(main, answer)
        assert asked.wait(timeout=60) == status
        said = " ".join(os.read(main, 10_000).decode().split())
        assert (
            "if the decimal point is misplaced, write 66.0 ms. Log it all the same? [y/N]" in said
        )
        os.close(main)
        os.close(other)
        assert (files(unfitted) == before) == bool(status)
    assert "reading 660 ms, chest strap" in (unfitted / "confirmed.csv").read_text()
