"""A squad's morning in words: the same words as each athlete's own."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console, Group

from slackwater.fitting import SquadFolder, squad_today
from slackwater.fitting.answers.answer import Unexplained
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report.caution import CAUTION, SHORT_CAUTION, caution
from slackwater.fitting.report.squads import today as told
from slackwater.fitting.squads.today import SquadToday
from tests.fitting.squads.made import squad


def morning(folder: Path, clock: dt.date | None = None) -> SquadToday:
    return squad_today(SquadFolder(folder), clock=clock)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    squad(tmp_path, "ada", "bruno", "carla")
    (tmp_path / "carla" / "posterior.nc").unlink()
    return tmp_path


def test_whoever_is_recovered_is_told_first_and_who_was_not_read_last(folder: Path) -> None:
    answer = morning(folder)
    missing = "No answer for carla: posterior.nc: this season was not fitted yet; fit it first."
    first, *others = told.said(answer)
    assert first.endswith(": ada and bruno.")
    assert others == [missing]
    assert told.rows(answer)[0][:2] == ("ada", "99 ms")
    out = io.StringIO()
    Console(file=out, width=80).print(Group(*told.text(answer)))
    assert max(map(len, out.getvalue().splitlines())) <= 80
    later = morning(folder, answer.morning + dt.timedelta(1))
    assert told.said(later)[-2] == (
        "Not read this morning, so foreseen: ada (last read on Wednesday 9 April) and bruno (last "
        "read on Wednesday 9 April)."
    )
    assert told.rows(later)[0][:3] == ("ada", "not read", "")


def test_the_caution_is_whole_where_something_is_unexplained(folder: Path) -> None:
    answer = morning(folder)
    assert caution(answer) == SHORT_CAUTION
    found = Unexplained(np.datetime64("2031-05-01"), Interval(-20, -15, -10), 9)
    held = replace(answer, athletes=(replace(answer.athletes[0], unexplained=found),))
    assert caution(held) == CAUTION
    assert "No session is offered" in told.said(held)[0]
