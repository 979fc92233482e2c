"""The demo squad is what its recipe writes, and its page shows what the commands print."""

from __future__ import annotations

import re
import shlex
from itertools import pairwise
from pathlib import Path

import pytest

from tests.demo_squad import CLUB, SQUAD_DATA, write
from tests.fitting.conftest import run
from tests.studies.squad_page import ASKED, DOCS, SQUAD

PAGE = DOCS / "squad.md"


def test_the_squad_is_what_its_recipe_writes(tmp_path: Path) -> None:
    write(tmp_path)
    for kept in SQUAD_DATA.rglob("*.*"):
        made = tmp_path / kept.relative_to(SQUAD_DATA)
        assert made.read_text("utf-8") == kept.read_text("utf-8"), f"{kept.name} was made otherwise"
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in SQUAD_DATA.iterdir()}


@pytest.mark.parametrize("name", ASKED)
def test_the_page_shows_what_the_command_prints(club: Path, name: str) -> None:
    """Its command, and its tables' heads, which the hand-made club has too."""
    more = ASKED[name]
    command, *lines = (DOCS / "outputs" / f"squad-{name}.txt").read_text("utf-8").splitlines()
    assert shlex.split(command) == ["$", "slackwater", "squad", name, SQUAD, *more]
    assert f"outputs/squad-{name}.txt" in PAGE.read_text("utf-8")
    assert {each.name for each in CLUB} & set(re.findall(r"\w+", " ".join(lines)))
    if name != "fit":  # which takes workers
        missing = _heads(run("squad", name, club, *more).out.splitlines()) - set(map(_close, lines))
        assert not missing, "write it anew: python -m tests.studies.squad_page"


def _heads(lines: list[str]) -> set[str]:
    """Return the lines above a rule."""
    return {_close(head) for head, rule in pairwise(lines) if "───" in rule}


def _close(line: str) -> str:
    return re.sub(r"\s+", " ", line).strip()
