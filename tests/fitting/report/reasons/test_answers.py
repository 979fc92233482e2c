"""Sentences about recovery and comparisons: what they name, and that they say how to mend it."""

from __future__ import annotations

import pytest

from slackwater.fitting.report.reasons import sentence
from slackwater.model.errors import Reason

SAID = {
    Reason("always the same days", types=["lift", "row"]): "'lift' and 'row' were always trained "
    "on the same days, so their recovery cannot be told apart; train each alone a few times, or "
    "log them as one type.",
    Reason("always in a row", types=["row", "lift"]): "'row' and 'lift' always follow one another "
    "in the same way, so how fast one of them recovers can hardly be told from how deep the others "
    "dip: their days lean on general experience. Do one of them a few times without the others "
    "following.",
    **{
        Reason("trained a few times", type="row", sessions=sessions): f"'row' was trained {word} "
        "only: its answer leans on the other types and on general experience."
        for sessions, word in ((1, "once"), (2, "twice"), (3, "3 times"))
    },
    Reason("too few to compare", measure="bath", side="with", nights=6, sessions=0): "There are 6 "
    "nights and 0 sessions with 'bath': too few to compare. Use it in some weeks and not in "
    "others, on each day until recovered.",
    Reason("some types only", measure="bath"): "'bath' was always used after some types and never "
    "after the others, so its effect cannot be told from theirs; use it after some sessions of a "
    "type and not after others.",
    Reason("one type only", measure="bath", type="row"): "Only 'row' was trained both with and "
    "without 'bath': the answer says little about other types.",
    Reason("one type has the value", attribute="mode", value="gym", type="lift"): "Only 'lift' has "
    "mode 'gym', so this compares that type, not the attribute by itself.",
    Reason("value never trained", attribute="effort", value="easy"): "No type with effort 'easy' "
    "has been trained yet.",
    Reason("no session shown"): "No session is logged that a reading could show, so there is "
    "nothing to learn days to recover from. Log sessions in sessions.csv (date, type).",
    Reason("on trial", measure="bath"): "The trial of 'bath' is under way and not judged yet. "
    "Results before its end are not shown: who stops at a lucky moment finds what is not there. "
    "The trial is judged when it is due; a look before that is possible there, and is kept in the "
    "record.",
    Reason("threshold fixed", percent=5.0): "season.toml fixes it at 5 %",
    Reason("threshold rule"): "half the night-to-night standard deviation of an ordinary night",
}


@pytest.mark.parametrize(("reason", "said"), SAID.items(), ids=lambda x: str(x)[:30])
def test_what_is_said(reason: Reason, said: str) -> None:
    assert sentence(reason) == said
