from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from slackwater.fitting import SeasonFolder, course, explain
from slackwater.fitting.report.terminal.explain import sentences
from tests.fitting.serving.conftest import Visitor, text_of


def test_four_weeks_are_shown_and_every_night_opens(visitor: Visitor, demo_copy: Path) -> None:
    page = visitor.look("season")
    nights = re.findall(r"why\?night=([\d-]+)", page)
    assert len(nights) == 28
    assert nights[0] == "2031-07-06"
    season = SeasonFolder(demo_copy)
    answer = course(season).nights.isel(night=-1)
    assert f"{float(answer['rmssd_ms']):.0f} ms" in text_of(page)
    for lane in (">hill run<", ">river dip<"):
        assert lane in page
    said = text_of(visitor.look(f"why?night={nights[3]}"))
    for sentence in sentences(explain(season, np.datetime64(nights[3]))):
        assert sentence in said


def test_it_goes_from_a_week_to_all_and_back_in_time(visitor: Visitor) -> None:
    week = visitor.look("season?span=7&until=2031-03-10")
    assert "Tuesday 4 March to Monday 10 March" in text_of(week)
    assert "until=2031-03-03" in week
    assert "until=2031-03-17" in week
    assert "Monday 6 January to Sunday 6 July" in text_of(visitor.look("season?span=0"))
    assert visitor.client.get(visitor.to("season?span=5")).status_code == 422
    assert visitor.client.get(visitor.to("season?until=soon")).status_code == 422
