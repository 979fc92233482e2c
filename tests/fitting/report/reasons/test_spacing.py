"""The sentences about plans, each with its facts in place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from slackwater.fitting import spacing
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.reasons.spacing import SENTENCES
from slackwater.model.errors import Reason

ROOM = Path(next(iter(spacing.__path__)))


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (Reason("too many plans", sessions=9, days=20), "9 sessions in 20 days make more plans"),
        (Reason("done after the fit", count=2, last_night="2031-05-02"), r"^2 .*\(2031-05-02\)"),
        (Reason("few promises judged", judged=4, enough=10), "With 4 judged so far, .*; 10 or"),
        (Reason("moved session rule", days=3), "done at most 3 days off"),
        (Reason("nothing to plan with"), r"Log sessions in sessions\.csv"),
        (Reason("perhaps a better plan"), "too many plans to go through"),
        (Reason("no plan kept"), "No plan was kept"),
        (Reason("plan under another threshold", planned=5.0, percent=None), "under 5 %; now it is"),
    ],
)
def test_a_reason_in_words(reason: Reason, said: str) -> None:
    assert re.search(said, sentence(reason))


def test_every_sentence_is_of_a_reason_that_is_given() -> None:
    given = {
        code
        for path in ROOM.glob("*.py")
        for code in re.findall(r'Reason\(\s*"([^"]+)"', path.read_text("utf-8"))
    }
    assert given == set(SENTENCES)
