from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.fitting.serving.work import FIT, Works
from tests.fitting.serving.conftest import NEXT, Visitor, opened, text_of, visit


def begin(folder: Path, ms: str = "57") -> None:
    folder.mkdir(parents=True)
    (folder / "readings.csv").write_text(f"date,rmssd_ms\n2031-07-06,{ms}\n")


def test_a_season_begins_from_nothing_and_its_folder_with_the_first_entry(tmp_path: Path) -> None:
    one = visit(tmp_path / "ada")
    assert "A season begins with one reading" in text_of(one.client.get("/").text)
    begun = one.send("/start/begin", {"name": "ada", "with": ""})
    assert begun.url.path == "/s/ada/"
    assert not (tmp_path / "ada").exists()
    one.enters("reading", ms="57", date=NEXT)
    assert (tmp_path / "ada" / "readings.csv").read_text() == f"date,rmssd_ms\n{NEXT},57\n"
    assert (tmp_path / "ada").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "name", ["", "..", "../other", ".hidden", "a/b", "a\\b", "x" * 101, "taken"]
)
def test_a_name_that_no_folder_of_its_own_can_have_is_refused(tmp_path: Path, name: str) -> None:
    begin(tmp_path / "taken")
    one = visit(tmp_path / "new")
    answer = one.send("/start/begin", {"name": name, "with": ""})
    assert answer.status_code == 422
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]


def test_several_seasons_stand_by_name(tmp_path: Path) -> None:
    for name in ("ben", "ada"):
        begin(tmp_path / name, "57" if name == "ada" else "68")
    client, door, _ = opened(tmp_path)
    client.get(f"/in/{door.secret}")
    page = client.get("/").text
    assert page.index('"/s/ada/"') < page.index('"/s/ben/"')
    one = Visitor(client, door, "ben")
    assert "68 ms" in text_of(one.look("log"))
    assert "All seasons" in text_of(one.look())


def test_the_demo_is_copied_beside_and_learnt_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[str] = []
    monkeypatch.setattr(Works, "start", lambda self, folder, kind: started.append(kind))
    one = visit(tmp_path / "new")
    assert "An invented season" in text_of(one.send("/start/demo").text)
    assert (tmp_path / "slackwater-demo" / "readings.csv").exists()
    assert started == [FIT]
