"""plans.json: only added to, whole at any moment, and refused in words where it is damaged."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from textwrap import dedent

import pytest

from slackwater.fitting import SeasonFolder
from slackwater.fitting.records.plans import holding, read_plans, with_plan
from slackwater.model.errors import SeasonError
from tests.fitting.records.by_hand import date, plan

FIRST = plan((20, "row", 0.9))
OTHER = plan((50, "hill run", 0.9), logged=[(49, "row")])


def left_behind(folder: Path) -> list[str]:
    return [path.name for path in folder.glob("*") if path.name != "plans.json"]


def test_what_is_kept_can_be_read_again_and_is_only_added_to() -> None:
    text = with_plan(None, FIRST, "plans.json")
    assert read_plans(text, "plans.json") == [FIRST]
    assert with_plan(text, FIRST, "plans.json") == text
    both = with_plan(text, OTHER, "plans.json")
    assert json.loads(both)[0] == json.loads(text)[0]
    assert read_plans(both, "plans.json") == [FIRST, OTHER]


def test_a_folder_keeps_plans_and_knows_them_at_once(tmp_path: Path) -> None:
    folder = SeasonFolder(tmp_path)
    assert folder.plans == []
    assert folder.keep(FIRST) == tmp_path / "plans.json"
    folder.keep(OTHER)
    assert folder.plans == SeasonFolder(tmp_path).plans == [FIRST, OTHER]
    assert [name for name in left_behind(tmp_path) if not name.startswith(".")] == []


def test_a_later_plan_replaces_what_an_earlier_one_said_of_its_days() -> None:
    first = plan((20, "row", 0.9), (24, "row", 0.9), (26, "hill run", 0.9))
    second = plan((25, "hill run", 0.7), start=23)
    held = holding([first, second])
    assert [(str(s.date), s.type, s.chance) for s in held.sessions] == [
        (date(20), "row", 0.9),
        (date(25), "hill run", 0.7),
    ]
    assert held.plans == [first, second]
    assert held.replaced == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("nonsense", r"plans\.json: not a list of plans.*mend it, or move"),
        ('{"schema": 1}', "not a list of plans"),
        ('[{"schema": 1}]', "at plan 1, 'season'"),
        ("\xff", "not a list of plans"),
    ],
)
def test_a_file_that_holds_no_plans_is_refused_and_left(
    tmp_path: Path, content: str, said: str
) -> None:
    path = tmp_path / "plans.json"
    path.write_bytes(content.encode("latin-1"))
    with pytest.raises(SeasonError, match=said):
        _ = SeasonFolder(tmp_path).plans
    with pytest.raises(SeasonError, match=said):
        SeasonFolder(tmp_path).keep(FIRST)
    assert path.read_bytes() == content.encode("latin-1")


@pytest.mark.parametrize(
    ("key", "value"),
    [("schema", 2), ("days", 0), ("sessions", []), ("start", "soon"), ("extra", 1)],
)
def test_a_plan_that_is_not_one(key: str, value: object) -> None:
    row = json.loads(with_plan(None, FIRST, "plans.json"))[0]
    with pytest.raises(SeasonError, match=f"at plan 1, '{key}'"):
        read_plans(json.dumps([row | {key: value}]).encode(), "plans.json")


def run(script: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", dedent(script), *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[3],
        timeout=120,
    )


KEEPING_AT_ONCE = """
    import os, sys
    from slackwater.fitting.folder import SeasonFolder
    from tests.fitting.records.by_hand import plan

    folder, each = SeasonFolder(sys.argv[1]), int(sys.argv[2])
    children = []
    for child in range(2):
        children.append(os.fork())
        if children[-1] == 0:
            for day in range(each):
                folder.keep(plan((1000 * child + day, "row", 0.9)))
            os._exit(0)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
"""


def test_two_processes_that_keep_plans_at_once_lose_none(tmp_path: Path) -> None:
    ran = run(KEEPING_AT_ONCE, tmp_path, 40)
    assert ran.returncode == 0, ran.stderr
    starts = [str(kept.start) for kept in SeasonFolder(tmp_path).plans]
    for child in range(2):  # each in its own order, whatever the other did in between
        own = [date(1000 * child + day) for day in range(40)]
        assert [start for start in starts if start in own] == own
    assert len(starts) == 80


KILLED_WHILE_KEEPING = """
    import os, random, signal, sys, time
    from pathlib import Path
    from slackwater.fitting import files
    from slackwater.fitting.folder import SeasonFolder
    from tests.fitting.records.by_hand import plan

    path, wanted = Path(sys.argv[1]), int(sys.argv[2])
    fsync = os.fsync

    def slow(file):
        time.sleep(0.01)
        fsync(file)

    files.os.fsync = slow
    in_the_middle = kills = day = 0
    kept = []
    while in_the_middle < wanted:
        child = os.fork()
        if child == 0:
            folder = SeasonFolder(path)
            while True:
                folder.keep(plan((day, "row", 0.9)))
                day += 1
        kills += 1
        time.sleep(random.Random(kills).uniform(0.05, 0.15))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        in_the_middle += bool(list(path.glob(".unfinished-*")))
        before, kept = kept, SeasonFolder(path).plans
        assert kept[: len(before)] == before
        assert kept == [plan((row, "row", 0.9)) for row in range(len(kept))]
        day = len(kept)
"""


def test_killed_while_keeping_it_leaves_the_old_or_the_new(tmp_path: Path) -> None:
    ran = run(KILLED_WHILE_KEEPING, tmp_path, 5)
    assert ran.returncode == 0, ran.stderr
    before = SeasonFolder(tmp_path).plans
    SeasonFolder(tmp_path).keep(OTHER)
    assert SeasonFolder(tmp_path).plans == [*before, OTHER]
    assert [name for name in left_behind(tmp_path) if "unfinished" in name] == []


def test_a_write_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = SeasonFolder(tmp_path)
    path = folder.keep(FIRST)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space") as caught:
        folder.keep(OTHER)
    assert caught.value.filename == str(path)
    assert path.read_bytes() == before
    assert [name for name in left_behind(tmp_path) if "unfinished" in name] == []
