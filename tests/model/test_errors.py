"""Reasons and refusals as facts, and the name that was most likely meant."""

from __future__ import annotations

import copy
import pickle

import pytest

from slackwater.model.errors import NoAnswerError, Reason, SlackwaterError, nearest, unknown_name

TYPES = ["hill run", "steady row", "easy paddle", "Heavy Lifting"]


@pytest.mark.parametrize(
    ("given", "meant"),
    [
        ("hil run", "hill run"),
        ("HILL RUN ", "hill run"),
        ("heavy lifting", "Heavy Lifting"),
        ("stedy-row", "steady row"),
        ("swim", None),
        ("", None),
    ],
)
def test_slips_of_the_hand_and_of_case_are_seen_through(given: str, meant: str | None) -> None:
    assert nearest(given, TYPES) == meant


def test_how_alike_names_must_be_can_be_said() -> None:
    assert nearest("row", ["steady row"], alike=0.3) == "steady row"
    assert nearest("row", ["steady row"], alike=0.9) is None


def test_an_unknown_name_is_told_with_those_that_there_are_and_the_nearest() -> None:
    said = str(unknown_name("session type", "Hill runs", TYPES))
    assert said == (
        "Unknown session type 'Hill runs'. This season has: 'Heavy Lifting', 'easy paddle', "
        "'hill run', 'steady row'. Did you mean 'hill run'?"
    )
    assert str(unknown_name("attribute", "mode", [])).endswith("This season has: none.")


THIN = Reason("thin type", type="row", sessions=3)
SAME = Reason("same days", types=["row", "lift"])


def test_a_reason_is_its_code_and_its_facts() -> None:
    assert Reason("thin type", sessions=3, type="row") == THIN
    assert Reason("thin type", type="row", sessions=4) != THIN
    assert Reason("thick type", type="row", sessions=3) != THIN
    assert THIN != "thin type"
    assert THIN.facts["sessions"] == 3


def test_reasons_can_be_told_apart_in_a_set_though_facts_may_be_lists() -> None:
    again = Reason("same days", types=["row", "lift"])
    assert list(dict.fromkeys([SAME, THIN, again, THIN])) == [SAME, THIN]
    assert len({SAME, again, Reason("same days", types=["row"])}) == 2


def test_a_reason_reads_as_what_it_is() -> None:
    assert str(THIN) == "thin type: type='row', sessions=3"
    assert str(Reason("no posterior")) == "no posterior"
    assert eval(repr(SAME), {"Reason": Reason}) == SAME


@pytest.mark.parametrize("how", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))])
def test_reasons_and_refusals_survive_copies_and_other_processes(how: object) -> None:
    assert callable(how)
    assert how(SAME) == SAME
    error = NoAnswerError(THIN, SAME)
    error.add_note("what to do")
    again = how(error)
    assert isinstance(again, NoAnswerError)
    assert again.reasons == (THIN, SAME)
    assert again.__notes__ == ["what to do"]


def test_a_refusal_tells_its_reasons_to_whoever_reads_no_words() -> None:
    error = NoAnswerError(THIN, Reason("no posterior"))
    assert isinstance(error, SlackwaterError)
    assert isinstance(error, ValueError)
    assert str(error) == "thin type: type='row', sessions=3; no posterior"
