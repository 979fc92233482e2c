from __future__ import annotations

import sys

import pytest

from slackwater.fitting.squads.extra import needed
from slackwater.model.errors import QuestionError


def test_a_library_that_is_missing_is_named_with_the_way_to_get_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)  # as where it is not installed
    with (
        pytest.raises(QuestionError, match=r"slackwater\[squad\]'"),
        needed(),
    ):
        import pyarrow  # noqa: F401
