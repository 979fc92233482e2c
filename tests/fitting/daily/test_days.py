"""The last days side by side, from files that need not all be right."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

from slackwater.fitting.daily.days import Day, last_days


def test_days_are_put_together_from_all_files(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,ln_rmssd\n2031-07-06,4.0\n2031-07-01,4.1\n")
    (tmp_path / "sessions.csv").write_text("date,type,dose\n2031-07-05,row,\n2031-07-05,run,0.5\n")
    (tmp_path / "interventions.csv").write_text("date,intervention\n2031-07-05,river dip\n")
    (tmp_path / "stressors.csv").write_text("date,stressor\n2031-07-04,cold\nnever,cold\n")
    found = last_days(tmp_path, 3)
    assert found.problems == 1
    assert found.days == [
        Day(dt.date(2031, 7, 4), None, "", [], [], ["cold"]),
        Day(dt.date(2031, 7, 5), None, "", [("row", 1.0), ("run", 0.5)], ["river dip"], []),
        Day(dt.date(2031, 7, 6), math.exp(4.0), "", [], [], []),
    ]


def test_an_empty_folder_has_none(tmp_path: Path) -> None:
    assert last_days(tmp_path, 3).days == []
