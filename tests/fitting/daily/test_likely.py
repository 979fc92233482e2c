from __future__ import annotations

import datetime as dt
from pathlib import Path

from slackwater.fitting.daily.likely import LESS, MORE, likely
from slackwater.fitting.intake.files import read_tables

MONDAY = dt.date(2031, 7, 7)


def test_names_come_by_plan_then_weekday_then_how_often_lately_then_ever(tmp_path: Path) -> None:
    week = dt.timedelta(7)
    rows = [(MONDAY - week, "row"), (MONDAY - 2 * week, "row")]
    rows += [(MONDAY - dt.timedelta(day), "run") for day in (1, 2, 3, 4)]
    rows += [(MONDAY - 30 * week - dt.timedelta(day), "swim") for day in range(9)]
    lines = "".join(f"{date},{label}\n" for date, label in rows)
    (tmp_path / "sessions.csv").write_text(f"date,type\n{lines}")
    (tmp_path / "types.csv").write_text("type,mode\nlift,lift\n")
    (tmp_path / "stressors.csv").write_text("date,stressor\n2031-07-01,cold\n")
    tables = read_tables(tmp_path)[1]
    assert likely(tables, MONDAY).types == ["row", "run", "swim", "lift"]
    assert likely(tables, MONDAY + dt.timedelta(1)).types[0] == "run"
    assert likely(tables, MONDAY, ["lift"], ["ice bath"]).types[0] == "lift"
    assert likely(tables, MONDAY, (), ["ice bath"]).measures == ["ice bath"]
    assert likely(tables, MONDAY).stressors == ["cold"]


def test_less_and_more_lie_as_far_from_the_usual_dose() -> None:
    assert (LESS, MORE) == (0.7, 1.4)
