"""A call in a process of its own."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from slackwater.fitting.sampling.elsewhere import run_elsewhere


def test_the_work_is_done_by_another_process(tmp_path: Path) -> None:
    file = tmp_path / "note.txt"
    assert run_elsewhere(lambda where: where.write_text(str(os.getpid())), file)
    assert int(file.read_text()) != os.getpid()


def test_work_that_fails_is_told_and_stops_nobody() -> None:
    assert not run_elsewhere(lambda: 1 / 0)


def test_so_is_a_python_that_cannot_be_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    assert not run_elsewhere(print)


def test_modules_are_found_where_this_process_finds_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "only_here.py").write_text("def work(file):\n    file.write_text('found')\n")
    monkeypatch.syspath_prepend(tmp_path)
    import only_here  # type: ignore[import-not-found]

    assert run_elsewhere(only_here.work, tmp_path / "note.txt")
    assert (tmp_path / "note.txt").read_text() == "found"
