from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np

from tests.fitting.beats.nights import night, write_intervals
from tests.fitting.serving.conftest import NEXT, Visitor, text_of, visit
from tests.fitting.serving.test_app import rows

TABLE = "Date;Night HRV;Training\n03.07.2031;57,5;row\n04.07.2031;61,0;\n05.07.2031;59,5;run\n"


def kept(page: str) -> dict[str, list[str]]:
    """Return what a form holds hidden, and the first of what it offers."""
    found: dict[str, list[str]] = {}
    for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page):
        found.setdefault(name, []).append(value)
    for name, value in re.findall(r'type="radio" name="([^"]+)" value="([^"]*)"[^>]*checked', page):
        found.setdefault(name, []).append(value)
    return found


def send_on(visitor: Visitor, view: str, answer: Any) -> Any:
    return visitor.client.post(visitor.to(view), data=kept(answer.text))


def test_a_spreadsheet_is_read_asked_about_shown_and_taken_in(tmp_path: Path) -> None:
    visitor = visit(tmp_path / "new")
    answer = visitor.send("/start/begin", {"name": "new", "with": "table"})
    assert 'type="file"' in answer.text
    files = {"file": ("export.csv", TABLE.encode())}
    answer = visitor.send("table", files=files)
    for _ in range(6):
        if "Nothing was written yet" in answer.text:
            break
        assert "One question about the file" in answer.text, text_of(answer.text)
        answer = send_on(visitor, "table", answer)
    assert "export.csv" in text_of(answer.text)
    assert not (tmp_path / "new").exists()
    answer = send_on(visitor, "table", answer)
    assert "Took 5 rows from export.csv" in text_of(answer.text)
    assert [row["rmssd_ms"] for row in rows(tmp_path / "new")] == ["57.5", "61", "59.5"]
    assert [row["type"] for row in rows(tmp_path / "new", "sessions")] == ["row", "run"]
    assert "Took back import of export.csv" in visitor.enters("undo")


def test_a_file_that_is_nothing_is_refused(visitor: Visitor, demo_copy: Path) -> None:
    before = rows(demo_copy)
    for content in (b"", b"\x00\x01\x02", b"no table at all"):
        answer = visitor.send("table", files={"file": ("x.xlsx", content)})
        assert answer.status_code in (409, 422)
    assert "Choose a file first" in text_of(visitor.send("table").text)
    assert "bring it again" in text_of(visitor.send("table", {"key": "gone"}).text)
    assert rows(demo_copy) == before


def test_beats_become_a_reading(visitor: Visitor, demo_copy: Path, tmp_path: Path) -> None:
    file = tmp_path / f"{NEXT}.txt"
    write_intervals(file, night(np.random.default_rng(1)))
    files = {"file": (file.name, file.read_bytes())}
    shown = visitor.send("beats", {"date": NEXT, "sensor": "chest strap"}, files=files)
    assert "Nothing was written yet" in shown.text, text_of(shown.text)
    assert rows(demo_copy)[-1]["date"] != NEXT
    said = text_of(send_on(visitor, "beats", shown).text)
    assert "Entered the beats of a night" in said
    assert rows(demo_copy)[-1]["date"] == NEXT
    assert rows(demo_copy)[-1]["sensor"] == "chest strap"
