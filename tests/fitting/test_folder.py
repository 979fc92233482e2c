"""One season folder: everything in it read once, and written whole."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from textwrap import dedent
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, Posterior, SeasonFolder, read_season, today
from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.records.plans import KeptPlan, Session
from slackwater.fitting.records.trials import Stopped
from slackwater.fitting.report.objects import as_object
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason, SeasonError
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted
from tests.fitting.report import folders
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, plan

NAMES = folders.Names("hills", "paddle", "dip", "effort", ("hard", "easy"), "cold", "lifting")
TYPES = {"hills": 0.5, "lifting": 0.5}
WORKED_OUT = ("now", "as_fitted", "past", "past_as_fitted", "own_recovery")


def kept(**changes: Any) -> KeptPlan:
    session = Session(date=dt.date(2031, 4, 10), type="hills", fixed=False, chance=0.9, asked=0.8)
    facts: dict[str, Any] = {
        "schema": 1,
        "season": "spring",
        "made_from": dt.date(2031, 4, 9),
        "start": dt.date(2031, 4, 9),
        "days": 7,
        "rest": [],
        "logged": [],
        "sessions": [session],
    }
    return KeptPlan(**facts | changes)


def posterior_of(season: Season, level: float, seed: int) -> Posterior:
    known = by_hand.Known(
        dict.fromkeys(("hills", "paddle", "lifting"), (0.2, 1.0)),
        stressors={"cold": (0.1, 1.0)},
        rate_ratios={"dip": 1.5},
        level=level,
    )
    return replace(whole_posterior(season, known, draws=50), seed=seed)


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """A season of 40 nights with a posterior made by hand, a trial and a plan."""
    folders.write(tmp_path, NAMES)
    folder = SeasonFolder(tmp_path)
    folder.learn(posterior_of(folder.season, 4.6, seed=1))
    folder.record(plan(start=30, types=TYPES))
    folder.keep(kept())
    return tmp_path


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Counts how often each file is read from now on."""
    counted: Counter[str] = Counter()
    opened = os.open

    def counting(path: str | Path, flags: int, *more: int, **named: int) -> int:
        descriptor = opened(path, flags, *more, **named)
        counted[Path(path).name] += 1
        return descriptor

    monkeypatch.setattr(os, "open", counting)
    return counted


def ask_for_everything(folder: SeasonFolder) -> None:
    assert folder.begun
    assert folder.fitted
    for name in ("checked", "season", "posterior", "trials", "plans", *WORKED_OUT):
        getattr(folder, name)


def test_nothing_is_read_before_it_is_asked_for(made: Path, reads: Counter[str]) -> None:
    folder = SeasonFolder(str(made))
    assert isinstance(folder, Athlete)
    assert folder.path == made
    assert folder.fitted
    assert folder.begun
    assert reads == {}
    assert len(folder.trials) == 1
    assert reads == {"trials.json": 1}


def test_each_file_is_read_once(made: Path, reads: Counter[str]) -> None:
    folder = SeasonFolder(made)
    for _ in range(3):
        ask_for_everything(folder)
    csv = ("readings.csv", "sessions.csv", "types.csv", "interventions.csv", "stressors.csv")
    files = {*csv, "posterior.nc", "trials.json", "plans.json"}
    kept_by_digest = {name: reads.pop(name) - 1 for name in csv}  # with the mornings foreseen
    assert set(kept_by_digest.values()) <= {0, 1}
    assert {name: reads[name] for name in files - set(csv)} == dict.fromkeys(files - set(csv), 1)
    assert set(reads.values()) == {1}


def test_it_holds_what_the_files_hold(made: Path) -> None:
    folder = SeasonFolder(made)
    assert folder.season.fingerprint() == read_season(made).fingerprint()
    assert folder.posterior.draws.identical(Posterior.load(made).draws)
    [trial] = folder.trials
    assert trial.plan == plan(start=30, types=TYPES)
    assert list(folder.plans) == [kept()]
    assert folder.now.season is folder.season


def test_a_season_with_problems_is_told_with_all_of_them(made: Path) -> None:
    (made / "readings.csv").write_text("date,rmssd_ms\n2031-03-01,x\n2031-03-02,-1\n")
    folder = SeasonFolder(made)
    assert folder.begun
    assert folder.checked.season is None
    assert len(folder.checked.problems) >= 2
    for ask in ("season", "now"):
        with pytest.raises(SeasonFilesError) as caught:
            getattr(folder, ask)
        assert tuple(caught.value.problems) == folder.checked.problems
    assert len(folder.trials) == 1  # which need no season


def test_an_empty_folder_and_none_hold_nothing(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nowhere"):
        folder = SeasonFolder(path)
        assert (folder.begun, folder.fitted) == (False, False)
        assert (list(folder.trials), list(folder.plans)) == ([], [])
        with pytest.raises(NoAnswerError) as caught:
            folder.posterior  # noqa: B018
        file = str(path / "posterior.nc")
        assert caught.value.reasons == (Reason("no posterior", file=file),)
    assert list(tmp_path.iterdir()) == []


def test_records_that_cannot_be_read_are_named_and_left_alone(made: Path) -> None:
    for name in ("trials.json", "plans.json"):
        (made / name).write_bytes(b"[{]")
    folder = SeasonFolder(made)
    with pytest.raises(SeasonError, match=r"trials\.json: "):
        folder.trials  # noqa: B018
    with pytest.raises(SeasonError, match=r"plans\.json: "):
        folder.plans  # noqa: B018
    with pytest.raises(SeasonError, match=r"trials\.json: "):
        folder.record(plan())
    with pytest.raises(SeasonError, match=r"plans\.json: "):
        folder.keep(kept())
    assert [(made / f).read_bytes() for f in ("trials.json", "plans.json")] == [b"[{]"] * 2


def test_learning_forgets_what_was_worked_out(made: Path) -> None:
    folder = SeasonFolder(made)
    ask_for_everything(folder)
    season, before = folder.season, {name: getattr(folder, name) for name in WORKED_OUT}
    path = folder.learn(posterior_of(folder.season, 4.9, seed=9))
    assert path == made / "posterior.nc"
    assert folder.posterior.seed == 9
    assert folder.season is season  # which learning does not change
    for name in WORKED_OUT:
        assert getattr(folder, name) is not before[name]
    np.testing.assert_allclose(folder.now.level.mean[0], 4.9)
    np.testing.assert_allclose(SeasonFolder(made).now.level.mean[0], 4.9)


def test_learning_brings_answers_where_there_were_none(made: Path) -> None:
    posterior = posterior_of(read_season(made), 4.9, seed=9)
    (made / "posterior.nc").unlink()
    folder = SeasonFolder(made)
    with pytest.raises(NoAnswerError):
        folder.now  # noqa: B018
    folder.learn(posterior)
    assert folder.fitted
    assert folder.now.night == folder.season.last_night


def test_what_is_recorded_is_there_at_once_and_for_others(made: Path) -> None:
    folder = SeasonFolder(made)
    assert folder.trials[0].open
    path = folder.record(Stopped(trial=1, written=WRITTEN, because="a move"))
    assert path == made / "trials.json"
    for each in (folder, SeasonFolder(made)):
        assert not each.trials[0].open
    assert folder.keep(kept(days=9)) == made / "plans.json"
    for each in (folder, SeasonFolder(made)):
        assert [p.days for p in each.plans] == [7, 9]


def test_recording_adds_to_what_others_wrote_meanwhile(made: Path) -> None:
    folder = SeasonFolder(made)
    assert len(folder.plans) == 1
    SeasonFolder(made).keep(kept(days=8))
    folder.keep(kept(days=9))
    assert [p.days for p in folder.plans] == [7, 8, 9]


KEEPING = """
    import sys
    from pathlib import Path
    from slackwater.fitting import SeasonFolder
    from tests.fitting.test_folder import kept

    print("ready", flush=True)
    sys.stdin.readline()
    for days in map(int, sys.argv[2:]):
        SeasonFolder(Path(sys.argv[1])).keep(kept(days=days))
"""


def test_two_processes_that_keep_plans_at_once_keep_all(tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", dedent(KEEPING), str(tmp_path), *map(str, days)],
            cwd=root,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for days in (range(1, 16), range(101, 116))
    ]
    for process in processes:
        assert process.stdout
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        process.communicate("go\n", timeout=60)
        assert process.returncode == 0
    found = [p.days for p in SeasonFolder(tmp_path).plans]
    assert sorted(found) == [*range(1, 16), *range(101, 116)]


def test_a_written_file_stands_in_the_place_of_the_one_before(made: Path) -> None:
    folder = SeasonFolder(made)
    for content in (b"first", b"second"):
        path = folder.write("report.html", content)
        assert path == made / "report.html"
        assert path.read_bytes() == content


def test_a_copied_folder_is_a_season_by_itself(made: Path, tmp_path: Path) -> None:
    copied = shutil.copytree(made, tmp_path / "copy", ignore=shutil.ignore_patterns("copy"))
    folder = SeasonFolder(copied)
    assert folder.now.night == SeasonFolder(made).now.night
    assert folder.trials[0].plan.measure == MEASURE
    assert n.TYPE in folder.posterior.draws.coords


def test_what_is_kept_in_memory_answers_as_a_folder_read_anew(demo_copy: Path) -> None:
    """After entries of every kind, after an edit of the fitted past, after that was taken back."""
    kept, last = SeasonFolder(demo_copy), np.datetime64("2031-07-06")
    _ = kept.now
    sensor = kept.season.sensors[-1]

    def row(file: str, day: int, **cells: Any) -> Row:
        return Row(file, {"date": dt.date(2031, 7, day), **cells})

    for entered in (
        row("readings", 7, rmssd_ms=61.0, sensor=sensor),
        row("sessions", 6, type="steady row"),
        row("interventions", 7, intervention="river dip"),
        row("sessions", 9, type="hill run", dose=1.5),  # pending
        row("readings", 9, rmssd_ms=66.0, sensor=sensor),  # a night was not read
        row("stressors", 8, stressor=kept.season.stressors[0]),
        row("sessions", 9, type="a new sport"),
        None,
    ):
        _ = kept.enter([entered], "a line") if entered else kept.undo()
        new = SeasonFolder(demo_copy)
        assert kept.season.data.identical(new.season.data)
        for name in ("dips", "rates", "rows", "night"):
            np.testing.assert_array_equal(getattr(kept.now, name), getattr(new.now, name))
        np.testing.assert_array_equal(kept.now.level.mean, new.now.level.mean)
        assert as_object(today(kept)) == as_object(today(new))
    fitted = kept.season.through(last)
    file = demo_copy / "sessions.csv"
    before = file.read_bytes()
    file.write_bytes(b"".join(before.splitlines(keepends=True)[:-20]))
    assert kept.refresh()
    with pytest.raises(NoAnswerError):
        _ = kept.now
    file.write_bytes(before)
    assert kept.refresh()
    assert kept.season.through(last).fingerprint() == fitted.fingerprint()
    _ = kept.now


def test_a_fit_is_of_the_season_as_it_is_and_is_kept(
    demo: Fitted, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("slackwater.fitting.sampling.fit.fit", lambda season, **how: demo.posterior)
    (demo_copy / "posterior.nc").unlink()
    folder = SeasonFolder(demo_copy)
    assert folder.fit(seed=3) is demo.posterior
    assert folder.posterior.fingerprint == demo.posterior.fingerprint
