"""Every answer holds in 80 columns, with and without colour, on a pipe and on a terminal."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.report.terminal import show as terminal
from tests.fitting.conftest import Fitted, run
from tests.fitting.report.terminal.printing import TECHNICAL

SETTINGS = {
    "as it is": {},
    "no colour": {"NO_COLOR": "1"},
    "colour": {"FORCE_COLOR": "1", "TERM": "xterm-256color"},
    "a dumb terminal": {"TERM": "dumb"},
}
ASKED = [
    ["today"],
    ["recovery"],
    ["baseline"],
    ["forecast", "--nights", "7", "--session", "2031-07-08:hill run"],
    ["compare", "--intervention", "river dip"],
    ["compare", "--types", "hill run", "steady row"],
    ["compare", "--attribute", "mode", "lift", "row"],
    ["explain"],
    ["washout", "--days", "3"],
    ["history", "--from", "2031-04-10"],
    ["repeats"],
    ["elements"],
    ["spacing", "--want", "hill run:1", "--want", "steady row:1", "--days", "14"],
    ["spacing", "--want", "hill run:2", "--days", "5"],
    ["spacing", "--check"],
    ["trial", "today"],
    ["trial", "today", "--date", "2031-03-20"],
    ["trial", "analyse", "--report-items"],
    ["trial", "ledger"],
]


def assert_holds(shown: str) -> None:
    lines = [re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", line) for line in shown.splitlines()]
    assert max(map(cell_len, lines)) <= 80, max(lines, key=cell_len)
    assert "…" not in shown.replace("… (", "")  # "lines 1, 2, … (15 in all)" cuts no cell


def split(asked: list[str]) -> tuple[list[str], list[str]]:
    at = 2 if asked[0] == "trial" else 1
    return asked[:at], asked[at:]


@pytest.mark.parametrize("asked", ASKED, ids=" ".join)
def test_each_answer_holds_in_80_columns(
    everything: Path, asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ask once, and print what was answered under each of the user's settings."""
    shown: list[tuple[list[RenderableType], Answer]] = []

    def keep(_: Console, told: Iterable[RenderableType], answer: Answer, *__: object) -> None:
        shown.append((list(told), answer))

    with monkeypatch.context() as patch:
        patch.setattr(terminal, "show", keep)
        command, options = split(asked)
        ran = run(*command, everything, *options)
    assert ran.status == 0, ran.err
    ((told, answer),) = shown
    for setting, variables in SETTINGS.items():
        with monkeypatch.context() as patch:
            for name in ("NO_COLOR", "FORCE_COLOR"):
                patch.delenv(name, raising=False)
            for name, value in {"COLUMNS": "80", **variables}.items():
                patch.setenv(name, value)
            printed = io.StringIO()
            terminal.show(Console(file=printed, highlight=False), told, answer)
        assert_holds(printed.getvalue())
        assert not TECHNICAL.search(printed.getvalue())
        assert ("\x1b[" in printed.getvalue()) == (setting == "colour")


def test_what_check_says_holds_too(everything: Path) -> None:
    ran = run("check", everything)
    assert ran.status == 0, ran.err
    assert_holds(ran.out)
    assert not TECHNICAL.search(ran.out)


def test_what_words_mean_and_every_row_are_asked_for(everything: Path) -> None:
    short = run("repeats", everything).out
    assert "Undisturbed: over before" not in short
    assert "each session:" not in short
    assert "Ranges hold 8 times in 10. More: --explain-terms and --details.\n" in short
    terms = run("repeats", everything, "--explain-terms").out
    assert "Undisturbed: over before" in terms
    assert "More: --details.\n" in terms
    assert "easy paddle, each session:" in run("repeats", everything, "--details").out


LONG = {
    "hill run": "h" * 200,
    "steady row": "s t e a d y" * 20,
    "heavy lifting": "重い" * 60,
    "river dip": "m" * 200,
    "head cold": "c" * 200,
    "chest strap": "b" * 200,
    "effort": "e" * 200,
    ",hard": "," + "v" * 200,
}
OF_ANY_LENGTH = [
    ["check"], ["recovery"], ["baseline"], ["forecast"], ["explain"], ["washout"],
    ["history", "--from", "2031-04-10"], ["repeats"], ["elements"],
    ["compare", "--intervention", LONG["river dip"]],
    ["spacing", "--want", f"{LONG['hill run']}:1"], ["trial", "ledger"],
]  # fmt: skip


@pytest.fixture(scope="module")
def long_names(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo season, fitted, with its names drawn out."""
    folder = tmp_path_factory.mktemp("long")
    copy_demo(folder)
    for file in folder.glob("*.csv"):
        text = file.read_text(encoding="utf-8")
        for name, long in LONG.items():
            text = text.replace(name, long)
        file.write_text(text, encoding="utf-8")
    assert run("fit", folder).status == 0
    return folder


@pytest.mark.parametrize("asked", OF_ANY_LENGTH, ids=lambda a: " ".join(a)[:20])
def test_names_of_any_length_are_folded(long_names: Path, asked: list[str]) -> None:
    command, options = split(asked)
    ran = run(*command, long_names, *options)
    assert ran.status == 0, ran.err
    assert_holds(ran.out)


ON_A_TERMINAL = """
import fcntl, os, pty, struct, sys, termios
pid, fd = pty.fork()
if not pid:
    os.execv(sys.executable, [sys.executable, "-m", "slackwater.fitting", *sys.argv[1:]])
fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
while True:
    try:
        piece = os.read(fd, 4096)
    except OSError:
        break
    if not piece:
        break
    sys.stdout.buffer.write(piece)
sys.exit(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudoterminals")
@pytest.mark.parametrize("term", ["xterm-256color", "dumb"])
def test_a_terminal_of_80_columns_gets_no_longer_line(demo: Fitted, term: str) -> None:
    left_out = ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR")
    env = {key: value for key, value in os.environ.items() if key not in left_out}
    ran = subprocess.run(
        [sys.executable, "-c", ON_A_TERMINAL, "recovery", str(demo.folder)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding="utf-8",
        env=env | {"TERM": term},
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "Days to recover" in ran.stdout
    assert_holds(ran.stdout)
    assert ("\x1b[1m" in ran.stdout) == (term != "dumb")
