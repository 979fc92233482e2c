"""Sessions to come as they are typed."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting import PlannedSession
from slackwater.fitting.commands.dated import parse_session
from slackwater.model.errors import QuestionError

DAY = np.datetime64("2031-03-30")


def test_a_session_is_written_as_date_colon_type() -> None:
    for text in ("2031-03-30:row: easy", " 2031-03-30 : row: easy "):
        assert parse_session(text, ["row: easy"]) == PlannedSession(DAY, "row: easy")


@pytest.mark.parametrize(
    "text",
    [
        *("", "row", ":row", "2031-04-02", "2031-04-02:", "2031-04-02: ", "2031-04-31:row"),
        *("02.04.2031:row", "20310402:row", "2031-W14-3:row", "31-4-2:row", "None:row"),
    ],
)
@pytest.mark.parametrize(("types", "example"), [(["hill run", "lift"], "hill run"), ([], "row")])
def test_what_is_no_session_is_refused_with_an_example(
    text: str, types: list[str], example: str
) -> None:
    # Dates are ISO 8601 calendar dates in extended form (5.2.2.1 of ISO 8601-1:2019, from
    # memory), as in the season's files; week dates and the basic form are not.
    with pytest.raises(QuestionError) as caught:
        parse_session(text, types)
    assert str(caught.value) == (
        f"{text!r} names no session; write it as DATE:TYPE, such as 2031-05-02:{example}"
    )
