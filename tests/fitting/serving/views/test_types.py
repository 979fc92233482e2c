from __future__ import annotations

from pathlib import Path

from slackwater.fitting import SeasonFolder, elements, washout
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


def test_repeats_are_told_beside_other_views(visitor: Visitor) -> None:
    said = text_of(visitor.look("repeats"))
    assert "It would pay most to repeat" in said or "No type needs repeating" in said


def test_rest_says_what_its_answer_says(visitor: Visitor, demo_copy: Path) -> None:
    first = pieces(question("washout").tell(washout(SeasonFolder(demo_copy))))[0]
    assert isinstance(first, Line)
    assert first.text in text_of(visitor.look("rest"))
