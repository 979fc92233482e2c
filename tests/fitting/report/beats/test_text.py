"""The readings of beats on a terminal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from slackwater.fitting.beats.merge import read_beats
from slackwater.fitting.report.beats.text import text
from tests.fitting.beats.nights import night, with_artefacts, write_intervals


def shown(answer: object) -> str:
    console = Console(width=80, highlight=False)
    with console.capture() as captured:
        for part in text(answer):  # type: ignore[arg-type]
            console.print(part)
    return captured.get()


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    rng = np.random.default_rng(0)
    for day in range(1, 17):
        rr_ms = with_artefacts(night(rng, hours=0.2), rng)
        write_intervals(tmp_path / f"2031-05-{day:02d}.txt", rr_ms)
    return tmp_path


def test_one_night_is_told_whole(nights: Path) -> None:
    answer = read_beats(None, nights / "2031-05-02.txt")
    said = shown(answer)
    entry = answer.nights[0]
    assert f"Night of Friday 2 May 2031: {entry.rmssd_ms:.0f} ms" in said
    assert f"{entry.rmssd_ms:.1f} ms (ln {entry.ln_rmssd:.3f})" in said
    assert f"{100 * entry.kept_share:.1f} % kept" in said
    assert "Malik" in said
    assert "1989" in said
    assert "Entered nothing; 1 reading would be." in said
    assert all(len(line) <= 80 for line in said.splitlines())


def test_many_nights_are_told_in_a_table_that_is_cut(nights: Path) -> None:
    (nights / "bad.txt").write_text("no beats\n")
    (nights / "photo.jpg").write_text("")
    said = shown(read_beats(None, nights))
    assert "16 nights of beats" in said
    assert said.count("\n2031-05-") == 12
    assert "No reading from bad.txt: nothing in it is a number" in " ".join(said.split())
    assert "Not taken for nights: photo.jpg." in said
    assert "16 readings would be." in said
