"""The page on the answers defines every key that the JSON has."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from tests.fitting.beats.nights import night, write_intervals
from tests.fitting.conftest import Fitted, run

PAGE: Final = Path(__file__).parents[3] / "docs" / "answers.md"
IN_ALL: Final = "In every answer"
BY_NAME: Final = {  # objects whose keys are the season's own names, or numbers
    "sessions_by_type", "wanted", "chances", "types[].days_for_chance", "alternatives[].left_out",
    "reasons[]", "refused_for",
}  # fmt: skip
BOUNDS: Final = {"median", "low", "high"}

ASKED: Final = {
    "check": ["check"],
    "recovery": ["recovery"],
    "today": ["today"],
    "baseline": ["baseline"],
    "forecast": ["forecast", "--session", "2031-07-08:hill run"],
    "compare --intervention": ["compare", "--intervention", "river dip"],
    "compare --types, compare --attribute": ["compare", "--attribute", "mode", "lift", "row"],
    "explain": ["explain"],
    "washout": ["washout"],
    "history": ["history", "--from", "2031-04-10"],
    "repeats": ["repeats"],
    "elements": ["elements"],
    "residuals": ["residuals"],
    "spacing": ["spacing", "--want", "hill run:2", "--days", "6"],
    "spacing --check": ["spacing", "--check"],
    "trial today": ["trial", "today", "--date", "2031-03-20"],
    "trial analyse": ["trial", "analyse", "--peek"],
    "trial ledger": ["trial", "ledger"],
}


def sections() -> dict[str, str]:
    """Return the page's sections by heading."""
    parts = re.split(r"^## (.+)$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def defined(section: str) -> dict[str, set[str]]:
    """Return each key in a section's tables, with the keys that its definition names."""
    found: dict[str, set[str]] = {}
    for keys, said in re.findall(r"^\| (`.+?) \| (.+) \|$", section, flags=re.MULTILINE):
        for key in re.findall(r"`([^`]+)`", keys):
            found.setdefault(key, set()).update(re.findall(r"`([^`]+)`", said))
    return found


def paths(value: Any, at: str = "") -> Iterator[str]:
    """Yield the path of every key of a JSON object, down to intervals."""
    if isinstance(value, list):
        for item in value:
            yield from paths(item, f"{at}[]")
    if isinstance(value, dict) and set(value) != BOUNDS and at not in BY_NAME:
        for key, below in value.items():
            path = f"{at}.{key}" if at else key
            yield path
            yield from paths(below, path)


def undefined(value: Any, known: dict[str, set[str]]) -> set[str]:
    """Return the paths that have no definition, by themselves or in their parent's row."""
    missing = set()
    for path in paths(value):
        parent, _, name = path.rpartition(".")
        own = {path, f"{path}[]"} & set(known)
        told = {key for p in (parent, parent.removesuffix("[]")) for key in known.get(p, ())}
        higher = any(path.startswith((f"{key}.", f"{key}[")) for key in known if key != parent)
        begun = any(key.startswith((f"{path}.", f"{path}[")) for key in known)
        if not (own or name in told or begun or (higher and parent not in known)):
            missing.add(path)
    return missing


@pytest.mark.parametrize("heading", ASKED)
def test_every_key_of_an_answer_is_defined(everything: Path, heading: str) -> None:
    words = ASKED[heading]
    ran = run(*words, everything, "--json")
    assert ran.status == 0, ran.err
    pages = sections()
    known = defined(pages[IN_ALL]) | defined(pages[heading])
    assert undefined(json.loads(ran.out), known) == set()


@pytest.mark.parametrize(
    "asked",
    [["today"], ["recovery"], ["compare", "--intervention", "river dip"]],
    ids=lambda asked: asked[0],
)
def test_every_key_of_a_squads_answer_is_defined(club: Path, asked: list[str]) -> None:
    word, *options = asked
    ran = run("squad", word, club, *options, "--json")
    assert ran.status == 0, ran.err
    pages = sections()
    known = defined(pages[IN_ALL]) | defined(pages[f"squad {word}"])
    assert undefined(json.loads(ran.out), known) == set()


def test_every_key_of_beats_is_defined(everything: Path, tmp_path: Path) -> None:
    rr_ms = night(np.random.default_rng(0), hours=0.2)
    write_intervals(tmp_path / "2031-07-08.txt", rr_ms)
    (tmp_path / "2031-07-09.txt").write_text("no beats\n")
    ran = run("beats", tmp_path, everything, "--draft", "--json")
    assert ran.status == 1, ran.err  # for the file that gives none
    pages = sections()
    known = defined(pages[IN_ALL]) | defined(pages["beats"])
    assert undefined(json.loads(ran.out), known) == set()


def test_every_answer_in_the_report_is_defined(demo: Fitted, tmp_path: Path) -> None:
    ran = run("report", demo.folder, "--out", tmp_path / "report.html", "--json")
    assert ran.status == 0, ran.err
    found = json.loads(ran.out)
    pages = sections()
    assert undefined({**found, "answers": {}, "refused": {}}, defined(pages["report"])) <= {
        "schema", "season", "last_night", "level", "warnings", "reasons",
    }  # fmt: skip
    known = defined(pages[IN_ALL]) | defined(pages["report"])
    for question in ("course", "worth"):
        assert undefined(found["answers"][question], known) == set()


def test_a_key_without_definition_is_found() -> None:
    known = {"plateau.reached": set[str](), "rows[]": {"name"}}
    assert undefined({"plateau": {"reached": True}, "rows": [{"name": 1}]}, known) == set()
    found = undefined({"plateau": {"other": True}, "rows": [{"size": 1}], "more": 1}, known)
    assert found == {"plateau.other", "rows[].size", "more"}
