"""A folder of nights."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats import many
from slackwater.fitting.beats.many import files_in, measure_all
from slackwater.fitting.beats.night import Asked
from slackwater.fitting.beats.recording import RecordingError
from tests.fitting.beats.nights import night, write_intervals


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    rng = np.random.default_rng(0)
    for day in (4, 2, 3):
        write_intervals(tmp_path / f"2031-05-0{day}.txt", night(rng, hours=0.2))
    write_intervals(tmp_path / "2031-05-05.txt", night(rng, hours=0.2)[:50])
    (tmp_path / "2031-05-06.txt").write_text("no beats here\n")
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8")
    return tmp_path


@pytest.mark.parametrize("few", [0, 10])
def test_each_file_gives_its_night_or_says_why_not(
    nights: Path, few: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Alike in this process and in others."""
    monkeypatch.setattr(many, "FEW", few)
    told: list[tuple[int, int]] = []
    paths, passed_over = files_in(nights)
    found, refused = measure_all(paths, Asked(), lambda *done: told.append(done))
    assert passed_over == ["photo.jpg"]
    assert [str(each.date) for each in found] == ["2031-05-02", "2031-05-03", "2031-05-04"]
    assert [each.file for each in refused] == ["2031-05-05.txt", "2031-05-06.txt"]
    assert getattr(refused[0].why, "code", "") == "too short a recording"
    assert str(refused[1].why).startswith("2031-05-06.txt:1:1: nothing in it is a number")
    assert told == [(n, 5) for n in range(1, 6)]


def test_two_files_of_one_night_give_none(nights: Path) -> None:
    twin = nights / "again 2031-05-03.txt"
    twin.write_bytes((nights / "2031-05-03.txt").read_bytes())
    found, refused = measure_all([nights / "2031-05-03.txt", twin], Asked())
    assert found == []
    assert [each.file for each in refused] == ["2031-05-03.txt", twin.name]
    assert getattr(refused[0].why, "facts", {})["others"] == [twin.name]


def test_a_folder_without_nights_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no file in it is a night's beats"):
        files_in(tmp_path)
    (tmp_path / "a.txt").write_text("800\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(many, "MOST_FILES", 0)
        with pytest.raises(RecordingError, match="give a folder of fewer nights"):
            files_in(tmp_path)
