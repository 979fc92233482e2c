"""The course of a season on a terminal."""

from __future__ import annotations

import io

from rich.console import Console

from slackwater.fitting import Athlete, course
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.terminal.course import text
from slackwater.fitting.report.terminal.show import show


def test_text_and_json(demo_athlete: Athlete) -> None:
    answer = course(demo_athlete)
    found = as_object(answer)
    assert len(found["nights"]) == 182
    assert found["sessions"][-1] == {"date": "2031-07-03", "type": "row intervals"}
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), text(answer), answer)
    shown = screen.getvalue()
    assert max(map(len, shown.splitlines())) <= 80
    assert "no diagnosis" in shown
    last = found["nights"][-1]
    state = last["state_ms"]
    told = f"{state['median']:.0f} ms ({state['low']:.0f} to {state['high']:.0f})"
    (line,) = [line for line in shown.splitlines() if line.startswith("2031-07-06")]
    assert told in line
    assert f"{last['rmssd_ms']:.0f} ms" in line
    unread = next(night for night in found["nights"] if night["rmssd_ms"] is None)
    assert unread["state_ms"]["low"] < unread["state_ms"]["high"]
