from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.fitting import Athlete, SeasonFolder, elements, recovery, washout
from slackwater.fitting.answers.recovery import Recovery
from slackwater.fitting.questions import question
from slackwater.fitting.report.page.parts_recovery import recovery as part_of
from slackwater.fitting.report.pieces import Line, pieces
from slackwater.fitting.report.terminal.elements import finding
from tests.fitting.serving.conftest import Visitor, text_of


def test_types_repeats_and_elements_say_what_their_answers_say(
    visitor: Visitor, demo_copy: Path
) -> None:
    said, season = text_of(visitor.look("types")), SeasonFolder(demo_copy)
    for sentence in part_of(question("recovery").ask(season)).sentences:
        assert sentence in said
    assert finding(elements(season)) in said


def test_repeats_are_told_beside_other_views(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Athlete] = []

    def answer(athlete: Athlete) -> Recovery:
        asked.append(athlete)
        return recovery(athlete)

    row = question("recovery")
    monkeypatch.setattr("slackwater.fitting.repeating.repeats.repeats", answer)
    monkeypatch.setattr("slackwater.fitting.report.terminal.repeats.text", row.tell)
    for _ in range(2):
        assert "hill run" in text_of(visitor.look("repeats"))
    (own,) = asked  # worked out once, from an object that no other view uses
    assert isinstance(own, SeasonFolder)


def test_rest_says_what_its_answer_says(visitor: Visitor, demo_copy: Path) -> None:
    first = pieces(question("washout").tell(washout(SeasonFolder(demo_copy))))[0]
    assert isinstance(first, Line)
    assert first.text in text_of(visitor.look("rest"))
