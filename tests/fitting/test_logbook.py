"""Entries are one step each, whole or not at all, and undone exactly."""

from __future__ import annotations

import datetime as dt
import errno
import os
import re
import stat
from collections.abc import Callable
from contextlib import nullcontext, suppress
from pathlib import Path
from typing import Any, Final

import pytest

from slackwater.fitting import SeasonFolder, files
from slackwater.fitting.keeping.row import Cell, Row
from slackwater.fitting.logbook import JOURNAL, enter, settle, undo
from slackwater.model.errors import NoAnswerError, QuestionError, SeasonError

DAY: Final = dt.date(2031, 7, 7)
READINGS: Final = b"date;rmssd_ms;mood\r\n2031-07-06;57,6;3"
TOML: Final = b'[csv]\nseparator = ";"\ndecimal = ","\n'


def reading(ms: float, day: int = 0, replaces: bool = False) -> Row:
    cells: dict[str, Cell] = {"date": DAY + dt.timedelta(day), "rmssd_ms": ms}
    return Row("readings", cells, replaces)


def session(label: str = "hill run", **more: float) -> Row:
    return Row("sessions", {"date": DAY, "type": label, **more})


@pytest.fixture
def season(tmp_path: Path) -> Path:
    (tmp_path / "readings.csv").write_bytes(READINGS)
    (tmp_path / "season.toml").write_bytes(TOML)
    return tmp_path


def held(folder: Path) -> dict[str, bytes]:
    """Return all that a folder holds but our own dot-files."""
    paths = (path for path in folder.iterdir() if not path.name.startswith(".slackwater"))
    return {path.name: path.read_bytes() for path in paths}


def test_steps_are_undone_one_by_one_byte_for_byte(season: Path) -> None:
    states = [held(season)]
    steps = [
        [reading(66.4)],
        [session()],
        [reading(66.8, replaces=True)],
        [session(dose=0.5), Row("stressors", {"date": DAY, "stressor": "cold"})],
        [reading(60 + n / 7, n) for n in range(1, 500)],
    ]
    for number, rows in enumerate(steps):
        enter(season, rows, f"step {number}")
        states.append(held(season))
    assert (
        states[4]["sessions.csv"]
        == b"date;type;dose\n2031-07-07;hill run;\n2031-07-07;hill run;0,5\n"
    )
    for number in reversed(range(len(steps))):
        back = undo(season)
        assert (back.what, back.more) == (f"step {number}", number)
        assert held(season) == states[number]
    with pytest.raises(NoAnswerError, match="nothing to undo"):
        undo(season)


def test_what_was_undone_and_logged_again_is_undone_again(season: Path) -> None:
    enter(season, [reading(66)], "a")
    undo(season)
    enter(season, [reading(67)], "b")
    assert undo(season).what == "b"
    assert held(season)["readings.csv"] == READINGS


def test_what_an_entry_did_is_told(season: Path) -> None:
    done = enter(season, [reading(66), session()], "both")
    assert (done.files, done.made) == (["readings.csv", "sessions.csv"], ["sessions.csv"])
    assert enter(season, [session(dose=2)], "more").added == {"sessions.csv": ["dose"]}


def test_files_are_for_their_owner_alone(season: Path) -> None:
    (season / "readings.csv").chmod(0o640)
    enter(season, [reading(66), session()], "both")
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in season.iterdir()}
    assert modes["sessions.csv"] == modes[JOURNAL] == 0o600
    assert modes["readings.csv"] == 0o640


def test_a_link_stays_a_link(season: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    synced = tmp_path_factory.mktemp("synced") / "nights.csv"
    synced.write_bytes(READINGS)
    (season / "readings.csv").unlink()
    (season / "readings.csv").symlink_to(synced)
    enter(season, [reading(66)], "a")
    assert (season / "readings.csv").is_symlink()
    assert synced.read_bytes() == READINGS + b"\r\n2031-07-07;66;"
    undo(season)
    assert synced.read_bytes() == READINGS


def test_nothing_is_written_where_one_row_of_many_is_wrong(season: Path) -> None:
    before = held(season)
    with pytest.raises(QuestionError, match="stands in line 2 already"):
        enter(season, [session(), reading(66), reading(60, -1)], "three")
    assert held(season) == before
    assert not (season / JOURNAL).exists()


def test_after_an_edit_by_hand_just_the_row_goes(season: Path) -> None:
    enter(season, [reading(66)], "a")
    enter(season, [session()], "b")
    with (season / "readings.csv").open("ab") as file:
        file.write(b"\r\n2031-07-08;59,1;5")
    undo(season)
    assert undo(season).files == ["readings.csv"]
    assert held(season)["readings.csv"] == READINGS + b"\r\n2031-07-08;59,1;5"


def test_a_row_edited_by_hand_is_left_and_one_deleted_is_no_hindrance(season: Path) -> None:
    enter(season, [reading(66)], "a")
    enter(season, [session(), reading(67, 1)], "b")
    path = season / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"67", b"68"))
    before = held(season)
    with pytest.raises(NoAnswerError, match="entry changed since"):
        undo(season)
    assert held(season) == before
    path.write_bytes(READINGS)
    assert undo(season).files == ["sessions.csv"]
    assert undo(season).files == []
    assert held(season) == {"readings.csv": READINGS, "season.toml": TOML}


class Killed(BaseException):
    """The process ends here."""


def each_call(monkeypatch: pytest.MonkeyPatch, stop: int) -> list[str]:
    """Let the process end before one of the calls that change something; return the calls."""
    calls: list[str] = []

    def counted(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def wrapper(*given: Any, **named: Any) -> Any:
            calls.append(name)
            if len(calls) > stop:
                raise Killed
            return call(*given, **named)

        return wrapper

    for name in ("open", "write", "fsync", "ftruncate", "replace", "unlink", "rename", "chmod"):
        monkeypatch.setattr(os, name, counted(name, getattr(os, name)))
    return calls


def killed_everywhere(season: Path, act: Callable[[], Any]) -> list[dict[str, bytes]]:
    """Return what the folder holds after each place of a kill and the next command's settling."""
    found, stop = [], 0
    start = {path.name: path.read_bytes() for path in season.iterdir()}
    while True:
        for path in season.iterdir():
            path.unlink()
        for name, content in start.items():
            (season / name).write_bytes(content)
        with pytest.MonkeyPatch.context() as patch:
            calls = each_call(patch, stop)
            with suppress(Killed):
                act()
            done = len(calls) <= stop
        (season / files._LOCK).unlink(missing_ok=True)  # as the system lets go of it
        settle(season)
        with files.alone(season):  # which clears what is unfinished
            pass
        found.append(held(season))
        if done:
            return found
        stop += 1


def test_a_kill_before_any_call_leaves_all_or_nothing(season: Path) -> None:
    rows = [reading(66), session(), Row("stressors", {"date": DAY, "stressor": "cold"})]
    before = held(season)
    states = killed_everywhere(season, lambda: enter(season, rows, "three"))
    after = states[-1]
    assert len(states) > 20
    assert after.keys() == {"readings.csv", "season.toml", "sessions.csv", "stressors.csv"}
    at = states.index(after)
    assert states == [before] * at + [after] * (len(states) - at)
    assert 0 < at < len(states) - 1
    states = killed_everywhere(season, lambda: undo(season))
    at = states.index(before)
    assert states == [after] * at + [before] * (len(states) - at)


def test_an_entry_cut_short_is_finished_by_whoever_reads_the_season(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replaced: list[Path] = []

    def replace(self: Path, target: Path) -> None:
        if replaced:
            raise Killed
        replaced.append(target)
        os.replace(self, target)  # noqa: PTH105

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", replace)
        patch.setattr(Path, "unlink", lambda *_given, **_named: None)
        with pytest.raises(Killed):
            enter(season, [reading(66), session()], "both")
    assert [path.name for path in replaced] == ["readings.csv"]
    assert not (season / "sessions.csv").exists()
    found = SeasonFolder(season).season
    assert found.types == ["hill run"]
    assert undo(season).what == "both"
    assert held(season) == {"readings.csv": READINGS, "season.toml": TOML}


def test_a_record_cut_short_is_none(season: Path) -> None:
    enter(season, [reading(66)], "a")
    path = season / JOURNAL
    path.write_bytes(path.read_bytes() + b'{"step": 2, "what": "b"')
    enter(season, [session()], "b")
    assert [undo(season).what, undo(season).what] == ["b", "a"]


def test_a_damaged_record_is_named_and_hinders_no_reading(season: Path) -> None:
    (season / JOURNAL).write_bytes(b"{}\n{\n")
    with pytest.raises(SeasonError, match=r"journal:1: this record .* is damaged"):
        enter(season, [reading(66)], "a")
    assert SeasonFolder(season).season.last_night == SeasonFolder(season).season.first_night


def test_what_another_program_changes_meanwhile_is_kept(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sync service replaces the file between its reading and its replacing."""
    path, times = season / "readings.csv", iter([1])
    real = files.append

    def append(*given: Any) -> None:
        real(*given)
        if next(times, None):
            path.write_bytes(READINGS.replace(b"57,6", b"58,1"))

    monkeypatch.setattr("slackwater.fitting.logbook.append", append)
    enter(season, [reading(66)], "a")
    assert path.read_bytes() == READINGS.replace(b"57,6", b"58,1") + b"\r\n2031-07-07;66;"
    undo(season)
    assert path.read_bytes() == READINGS.replace(b"57,6", b"58,1")


def test_a_program_that_never_rests_is_told(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, real = season / "readings.csv", files.append
    changes = iter(range(100))

    def append(*given: Any) -> None:
        real(*given)
        path.write_bytes(b"date;rmssd_ms\n2031-07-06;%d\n" % (50 + next(changes)))

    monkeypatch.setattr("slackwater.fitting.logbook.append", append)
    with pytest.raises(OSError, match="another program keeps changing"):
        enter(season, [reading(66)], "a")
    assert path.read_bytes().count(b"\n") == 2


@pytest.mark.parametrize("calls", range(6))
def test_on_a_full_disk_nothing_is_entered(
    season: Path, monkeypatch: pytest.MonkeyPatch, calls: int
) -> None:
    """The disk is full from some call on; the end of an entry needs no room to be right."""
    left = iter(range(calls))
    before = held(season)

    def fsync(handle: int) -> None:
        if next(left, None) is None:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", fsync)
    said = "it was not written (No space left on device); make room or allow writing"
    with pytest.raises(OSError, match=re.escape(said)) if calls < 3 else nullcontext():
        enter(season, [reading(66), session()], "both")
    assert (held(season) == before) == (calls < 3)
    monkeypatch.undo()
    settle(season)
    assert (held(season) == before) == (calls < 3)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"readings.csv"', '"../outside.csv"'),
        ('"readings.csv"', '"posterior.nc"'),
        ('"at": ', '"at": -'),
        ('"step": 1', '"step": "1"'),
        ('"undoes": null', '"undoes": [1]'),
        ('"what": ', '"what": 3, "wot": '),
        ('{"date": "2031-07-07"', '{"date": ["2031-07-07"]'),
        ("{", "[" * 100_000),
    ],
)
def test_a_record_that_someone_else_made_changes_nothing(season: Path, old: str, new: str) -> None:
    """Such as one that would be finished in another folder."""
    outside = season.parent / "outside.csv"
    outside.write_bytes(b"kept")
    enter(season, [reading(66.4)], "a reading")
    journal = season / JOURNAL
    step, _end = journal.read_text().splitlines()
    assert old in step
    journal.write_text(step.replace(old, new, 1) + "\n")
    before = held(season)
    for change in (
        lambda: settle(season),
        lambda: enter(season, [session()], ""),
        lambda: undo(season),
    ):
        with pytest.raises(SeasonError, match="this record of what was logged is damaged"):
            change()
    assert (held(season), outside.read_bytes()) == (before, b"kept")


@pytest.mark.parametrize("begins", ["=", "+", "-", "@"])
def test_what_a_spreadsheet_would_take_for_a_formula_is_no_formula(
    season: Path, begins: str
) -> None:
    formula = f"{begins}HYPERLINK(1)"
    enter(season, [session(formula), Row("stressors", {"date": DAY, "stressor": formula})], "")
    for file in ("sessions", "stressors"):
        assert f"2031-07-07;'{begins}HYPERLINK(1)" in (season / f"{file}.csv").read_text()
