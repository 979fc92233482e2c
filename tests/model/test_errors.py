"""The name that was most likely meant."""

from __future__ import annotations

import pytest

from slackwater.model.errors import nearest, unknown_name

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
