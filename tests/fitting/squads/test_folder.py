"""A squad folder: whose season folders it holds, and that it is fitted by one at a time."""

from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.squads.folder import SquadFolder
from tests.fitting.squads.made import squad


def test_every_folder_with_a_seasons_files_is_an_athlete(tmp_path: Path) -> None:
    squad(tmp_path, "bruno", "ada")
    (tmp_path / "carla").mkdir()
    (tmp_path / "carla" / "sessions.csv").write_text("date,type\n")  # begun, and not read yet
    (tmp_path / "photos").mkdir()
    (tmp_path / ".hidden").mkdir()
    (tmp_path / ".hidden" / "readings.csv").write_text("date,rmssd_ms\n")
    (tmp_path / "once more").symlink_to(tmp_path / "ada")
    (tmp_path / "notes.txt").write_text("nothing\n")
    found = SquadFolder(tmp_path)
    assert found.folders == ("ada", "bruno", "carla")
    assert found.name == tmp_path.name
    assert found.season("ada").path == tmp_path / "ada"


def test_what_is_no_squad_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SeasonFilesError, match=r"no season folder in it; put each athlete's"):
        _ = SquadFolder(tmp_path).folders
    squad(tmp_path, "ada")
    with pytest.raises(SeasonFilesError, match=r"one athlete's season folder; give the folder"):
        _ = SquadFolder(tmp_path / "ada").folders
    with pytest.raises(SeasonFilesError, match="there is no such folder"):
        _ = SquadFolder(tmp_path / "nowhere").folders
    (tmp_path / "squad.toml").mkdir()
    with pytest.raises(SeasonFilesError, match=r"squad\.toml:1:1: the file cannot be read"):
        _ = SquadFolder(tmp_path).settings


def test_two_do_not_fit_one_squad_at_once(tmp_path: Path) -> None:
    squad(tmp_path, "ada")
    with SquadFolder(tmp_path).held(), pytest.raises(OSError, match="is fitting this squad"):
        SquadFolder(tmp_path).held().__enter__()
    with SquadFolder(tmp_path).held():
        pass


def test_what_changes_is_told_by_stamps(tmp_path: Path) -> None:
    squad(tmp_path, "ada", "bruno")
    found = SquadFolder(tmp_path)
    before = found.stamps()
    assert found.stamps() == before
    with (tmp_path / "ada" / "readings.csv").open("a") as file:
        file.write("2031-05-11,99\n")
    after = found.stamps()
    assert after["ada"] != before["ada"]
    assert after["bruno"] == before["bruno"]
    (tmp_path / "squad.toml").write_text('name = "Weir club"\n')
    assert found.stamps().keys() - after.keys() == {"squad.toml"}
