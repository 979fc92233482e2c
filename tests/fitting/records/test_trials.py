"""The record of trials: only added to, whole or not at all, and proof against edits."""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.records import trials as record
from slackwater.fitting.records.trials import (
    Analysed,
    AnyEvent,
    Looked,
    Stopped,
    Trial,
    open_trial,
    stop_trial,
    with_event,
)
from slackwater.model.errors import NoAnswerError, QuestionError, Reason, SeasonError
from slackwater.model.priors import Priors
from tests.fitting.trials.by_hand import WRITTEN, analysed, plan

LOOKED = Looked(
    trial=1, written=WRITTEN, last_night=dt.date(2031, 4, 1), sessions_with=3, sessions_without=3
)
ANALYSED = analysed()
STOPPED = Stopped(trial=2, written=WRITTEN, because="a broken tub – leider")


def read_trials(folder: Path) -> list[Trial]:
    return list(SeasonFolder(folder).trials)


def append(folder: Path, event: AnyEvent) -> Path:
    return SeasonFolder(folder).record(event)


def test_a_plan_made_while_another_was_registered_is_refused(tmp_path: Path) -> None:
    path = append(tmp_path, plan())
    before = path.read_bytes()
    with pytest.raises(QuestionError, match="another trial was registered meanwhile"):
        append(tmp_path, plan(60, measure="nap"))
    assert path.read_bytes() == before


def test_of_two_results_the_first_is_kept(tmp_path: Path) -> None:
    append(tmp_path, plan())
    append(tmp_path, ANALYSED)
    append(tmp_path, ANALYSED.model_copy(update={"verdict": "slower"}))
    assert read_trials(tmp_path)[0].analysed == ANALYSED


def left_in(folder: Path) -> set[str]:
    """The files of a folder, without the lock that stays in it."""
    return {path.name for path in folder.iterdir()} - {".slackwater.lock"}


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
    assert left_in(tmp_path) == {"trials.json"}


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
    with pytest.raises(NoAnswerError) as caught:
        open_trial([done])
    assert caught.value.reasons == (Reason("no open trial"),)


def test_an_open_trial_is_given_up_for_a_reason() -> None:
    done, running = record.Trial(plan(), analysed=ANALYSED), record.Trial(plan(60, trial=2))
    assert stop_trial([done, running], STOPPED.because, WRITTEN) == STOPPED
    with pytest.raises(QuestionError, match="Say why the trial is stopped"):
        stop_trial([running], " ", WRITTEN)
    with pytest.raises(NoAnswerError):
        stop_trial([done], STOPPED.because, WRITTEN)


def test_a_result_of_before_priors_were_kept_was_judged_with_the_usual_one() -> None:
    kept = json.loads(with_event(None, ANALYSED, "trials.json"))["events"][0]
    del kept["prior_mean"], kept["prior_sd"]
    assert Analysed(**kept) == ANALYSED
    usual = Priors().log_rate_ratio
    assert (ANALYSED.prior_mean, ANALYSED.prior_sd) == usual


def test_what_was_recorded_is_seen_by_the_folder_that_recorded_it(tmp_path: Path) -> None:
    folder = SeasonFolder(tmp_path)
    assert list(folder.trials) == []
    folder.record(plan())
    assert [trial.plan for trial in folder.trials] == [plan()]


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
        {"recovered_after": {"row": 5, "lift": 5}},
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
    assert left_in(tmp_path) == {"trials.json"}


EACH = 20
SPAWN = multiprocessing.get_context("spawn")


def look_often(folder: Path, sessions: int) -> None:
    """Record one look after another, each the folder's own; a function of a module."""
    for _ in range(EACH):
        append(folder, LOOKED.model_copy(update={"sessions_with": sessions}))


def test_two_processes_at_once_lose_no_event(tmp_path: Path) -> None:
    append(tmp_path, plan())
    writers = [SPAWN.Process(target=look_often, args=(tmp_path, k)) for k in (1, 2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
        assert writer.exitcode == 0
    (trial,) = read_trials(tmp_path)
    counts = [look.sessions_with for look in trial.looks]
    assert sorted(counts) == [1] * EACH + [2] * EACH


def die_before(folder: Path, step: str) -> None:
    """Be killed in the middle of recording; a function of a module."""

    def die(*_: Any, **__: Any) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    setattr(*{"fsync": (os, "fsync"), "replace": (Path, "replace")}[step], die)
    append(folder, LOOKED)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill on this system")
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_kill_leaves_the_record_as_it_was_and_free(tmp_path: Path, step: str) -> None:
    path = append(tmp_path, plan())
    before = path.read_bytes()
    writer = SPAWN.Process(target=die_before, args=(tmp_path, step))
    writer.start()
    writer.join(60)
    assert writer.exitcode == -signal.SIGKILL
    assert path.read_bytes() == before
    append(tmp_path, LOOKED)  # nobody holds the lock, and what was left half-way is cleared
    assert read_trials(tmp_path)[0].looks == [LOOKED]
    assert left_in(tmp_path) == {"trials.json"}


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill on this system")
def test_a_kill_at_any_time_leaves_whole_events(tmp_path: Path) -> None:
    path = append(tmp_path, plan())
    for wait in (0.0, 0.01, 0.03):
        writer = SPAWN.Process(target=look_often, args=(tmp_path, 1))
        before = len(read_trials(tmp_path)[0].looks)
        writer.start()
        while len(read_trials(tmp_path)[0].looks) == before and writer.is_alive():
            time.sleep(0.001)
        time.sleep(wait)
        writer.kill()
        writer.join(60)
        kept = json.loads(path.read_bytes())["events"]
        assert [event["event"] for event in kept] == ["planned"] + ["looked"] * (len(kept) - 1)
        assert len(kept) > before + 1
