"""Progress where no terminal is."""

from __future__ import annotations

import pytest

from slackwater.fitting.commands.shared import progress_bar


def test_a_line_now_and_then_where_no_terminal_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = iter([10.0, 10.5, 11.5, 12.0, 15.0, 30.0])  # the first step loads and compiles
    monkeypatch.setattr("slackwater.fitting.commands.shared.time.monotonic", lambda: next(clock))
    with progress_bar("simulating", lines=True) as tell:
        assert tell is not None
        for done in (1, 2, 4, 5, 6, 40):
            tell(done, 40)
    assert capsys.readouterr().err.splitlines() == [
        "simulating: 4 of 40, about 18 s to go",
        "simulating: 6 of 40, about 34 s to go",
    ]
    with progress_bar("sampling") as tell:
        assert tell is None
