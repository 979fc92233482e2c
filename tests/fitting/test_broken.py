"""Broken and hostile files by the hundred: told in words, with a place, and nothing changed."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.fitting.importing.book import read_book
from slackwater.fitting.importing.choices import Choices
from slackwater.fitting.importing.proposal import propose
from slackwater.model.errors import SlackwaterError
from tests.fitting.broken import ESCAPES, UNFIT, Broken, corpus, faults, fitted
from tests.fitting.conftest import run

CORPUS = corpus()
APART = ("spreadsheets, damaged bytes", "spreadsheets, hostile")
QUICK = [each for each in CORPUS if each.kind not in APART][::4]
QUICK += [each for each in CORPUS if each.kind == APART[1]][::3]
PARTS = (
    "Date HRV RMSSD Training 03/04/2031 13.05.2031 2031-05-04 47000 56,4 56.4 1.234 0.05 x ja "
    "; , | , ;"
)
ODD = ["\n", "\n", "\r", '"', "\t", "\0", "é", "\u202e"]


def test_there_are_enough_of_them() -> None:
    assert len(CORPUS) >= 300


@pytest.mark.parametrize("broken", QUICK, ids=lambda broken: ascii(f"{broken.kind}: {broken.name}"))
def test_it_is_told_in_words_and_nothing_is_changed(tmp_path: Path, broken: Broken) -> None:
    _, wrong = faults(broken, tmp_path)
    assert not wrong


def test_a_report_on_a_folder_with_an_odd_name_is_plain(tmp_path: Path) -> None:
    place = fitted(tmp_path).rename(tmp_path / ESCAPES)
    assert run("report", place).status == 0
    written = (place / "report.html").read_text()
    assert not UNFIT.search(written)
    assert r"\x1b[31m" in written


@pytest.mark.slow
def test_so_are_others(tmp_path: Path) -> None:
    """Every tenth; `python -m tests.fitting.broken` tries them all."""
    for number, broken in enumerate(CORPUS[::10]):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert faults(broken, folder)[1] == [], f"{broken.kind}: {broken.name}"


@given(
    content=st.binary(max_size=200)
    | st.lists(st.sampled_from([*PARTS.split(), *ODD]), max_size=40).map(
        lambda parts: "".join(parts).encode("utf-8")
    )
)
@settings(deadline=None, max_examples=300)
def test_any_table_is_understood_asked_about_or_refused(content: bytes) -> None:
    try:
        found = propose(read_book("a.csv", content), Choices(), {}, [])
    except SlackwaterError:
        return
    assert found.questions or found.made
    assert all(len(question.answers) > 1 for question in found.questions)
