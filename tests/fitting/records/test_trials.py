"""The record of trials: only added to, whole or not at all, and proof against edits."""

from __future__ import annotations

import datetime as dt
import json
import os
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting.records import trials as record
from slackwater.fitting.records.trials import (
    Analysed,
    Looked,
    Stopped,
    append,
    open_trial,
    read_trials,
)
from slackwater.model.errors import NoAnswerError, SeasonError
from tests.fitting.trials.by_hand import WRITTEN, plan

LOOKED = Looked(
    trial=1, written=WRITTEN, last_night=dt.date(2031, 4, 1), sessions_with=3, sessions_without=3
)
ANALYSED = Analysed(
    trial=1,
    written=WRITTEN,
    last_night=dt.date(2031, 5, 1),
    sessions_with=4,
    sessions_without=5,
    verdict="faster",
    log_rate_ratio_mean=0.4,
    log_rate_ratio_sd=0.15,
    chance_worth_having=0.9,
    p_value=None,
)
STOPPED = Stopped(trial=2, written=WRITTEN, because="a broken tub – leider")


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    assert read_trials(tmp_path) == []
    second = plan(60, trial=2, measure="nap", types={"hügel": 1.0})
    for event in (plan(), LOOKED, LOOKED, ANALYSED, second, STOPPED):
        path = append(tmp_path, event)
    assert path == tmp_path / "trials.json"
    first, other = read_trials(tmp_path)
    assert first.plan == plan()
    assert (first.looks, first.analysed, first.stopped) == ([LOOKED, LOOKED], ANALYSED, None)
    assert (other.plan, other.looks, other.stopped) == (second, [], STOPPED)
    assert "a broken tub – leider" in path.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["trials.json"]


def test_events_are_only_added(tmp_path: Path) -> None:
    append(tmp_path, plan())
    before = json.loads((tmp_path / "trials.json").read_text())["events"]
    append(tmp_path, LOOKED)
    after = json.loads((tmp_path / "trials.json").read_text())["events"]
    assert after[:-1] == before
    assert after[-1]["event"] == "looked"


def test_a_trial_has_a_status() -> None:
    trial = record.Trial(plan(10))
    start = trial.plan.start
    assert trial.status(start - dt.timedelta(1)) == "planned"
    assert trial.status(start) == "running"
    assert trial.open
    trial.analysed = ANALYSED
    assert trial.status(start) == "analysed"
    trial.stopped = STOPPED
    assert trial.status(start) == "stopped"
    assert not trial.open


def test_the_open_trial_is_found() -> None:
    done = record.Trial(plan(), analysed=ANALYSED)
    running = record.Trial(plan(60, trial=2))
    assert open_trial([done, running]) is running
    with pytest.raises(NoAnswerError, match="No trial is planned or running; plan one with"):
        open_trial([done])


def edited(folder: Path, **changes: Any) -> None:
    """Write a record whose plan was changed by hand."""
    path = append(folder, plan())
    content = json.loads(path.read_text())
    content["events"][0] |= changes
    path.write_text(json.dumps(content))


@pytest.mark.parametrize(
    "changes",
    [
        {"seed": 2},
        {"pairs": {"row": ["with, without"] * 4, "lift": ["with, without"] * 4}},
        {"types": {"row": 1.0}},
        {"assignment": "as I like"},
    ],
)
def test_an_edited_assignment_is_not_believed(tmp_path: Path, changes: dict[str, Any]) -> None:
    edited(tmp_path, **changes)
    with pytest.raises(SeasonError, match="does not follow from its seed") as caught:
        read_trials(tmp_path)
    assert "put the file back as it was written" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "cannot be read as JSON"),
        ("[]", "this is no record of trials, schema 1"),
        ('{"schema": 2, "events": []}', "this is no record of trials, schema 1"),
        ('{"schema": 1}', "events."),
        ('{"schema": 1, "events": [{"event": "won"}]}', "events.0"),
        ('{"schema": 1, "events": [{"event": "stopped", "trial": 1}]}', "events.0.stopped.written"),
        ("\udcff", "cannot be read as JSON"),
    ],
)
def test_what_is_no_record_is_refused(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / "trials.json").write_bytes(content.encode("utf-8", "surrogateescape"))
    with pytest.raises(SeasonError) as caught:
        read_trials(tmp_path)
    assert said in str(caught.value)
    assert str(tmp_path / "trials.json") in str(caught.value)
    with pytest.raises(SeasonError):
        append(tmp_path, plan())  # and is not written over


def test_an_event_without_its_plan_is_refused(tmp_path: Path) -> None:
    append(tmp_path, STOPPED)
    with pytest.raises(SeasonError, match="trial 2 has events but no plan"):
        read_trials(tmp_path)


def test_a_failed_write_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = append(tmp_path, plan())
    before = path.read_bytes()

    def fail(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OSError, match="No space left"):
        append(tmp_path, LOOKED)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["trials.json"]
