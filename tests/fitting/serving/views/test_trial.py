from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.serving.views import trial
from slackwater.fitting.serving.work import JUDGE_TRIAL, PLAN_TRIAL, Works
from tests.fitting.serving.conftest import Visitor, text_of
from tests.fitting.trials import by_hand


def test_a_trial_is_worked_out_before_it_is_registered(
    visitor: Visitor, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, dict[str, Any]]] = []
    monkeypatch.setattr(
        Works, "start", lambda self, folder, kind, **given: asked.append((kind, given))
    )
    form = {"measure": "river dip", "smallest": "1", "chance": "80", "sessions": "12"}
    visitor.send("trial", form)
    ((kind, given),) = asked
    assert kind == PLAN_TRIAL
    assert (given["measure"], given["smallest"], given["chance"]) == ("river dip", 1.0, 0.8)
    assert not (demo_copy / "trials.json").exists()
    assert visitor.send("register").status_code == 422
    planned = by_hand.plan(start=200, types={"hill run": 1.0}, measure="river dip")
    event = planned.model_dump(mode="json")
    monkeypatch.setattr(trial, "_event", lambda _: event)
    assert "Registered the trial of" in visitor.enters("register")
    assert json.loads((demo_copy / "trials.json").read_text())["events"] == [event]
    said = text_of(visitor.look("trial"))
    assert "on trial" in said
    assert "So far 0 sessions with and 0 without" in said
    assert "Trial of" in text_of(visitor.look())
    refused = visitor.send("judge")
    assert refused.status_code == 409  # no peeking
    assert "stays in the record" in visitor.enters("give-up", because="the tub is broken")


def test_what_was_tested_is_shown_without_a_trial(visitor: Visitor) -> None:
    said = text_of(visitor.look("trial"))
    assert "Everything that was ever tested" in said
    assert "river dip" in said


@pytest.mark.parametrize("now", [True, False])
def test_a_verdict_is_said_once(
    now: bool, visitor: Visitor, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    planned = by_hand.plan(start=60, measure="ice bath", types={"hill run": 1.0})
    for event in (planned, by_hand.analysed(verdict="undecided")):
        SeasonFolder(demo_copy).record(event)
    if now:
        came = {"told": [{"is": "Line", "text": "Undecided.", "leads": True}], "mind": []}
        done = SimpleNamespace(
            kind=JUDGE_TRIAL, came=came, running=False, refused="", stopped=False
        )
        monkeypatch.setattr(Works, "on", lambda self, folder: done)
    shown, _, _ = visitor.look("trial").partition("<summary>")
    assert text_of(shown).lower().count("undecided") == 1
