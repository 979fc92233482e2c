"""One season from an empty folder to an adopted recovery measure, by the real command line.

    python -m tests.studies.worked_season

Takes about ten minutes on two free cores, most of it for planning trials. Writes
docs/worked-season.md: every command with its output, and at the end the truth behind it.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path
from typing import Any, Final

from slackwater.fitting.report.caution import CAUTION
from tests.studies import worked_stages

PAGE: Final = Path(__file__).parents[2] / "docs" / "worked-season.md"
SEASON: Final = "my-season"
LEFT_OUT: Final = "[…]"


class Page:
    """The page as it grows, and the folder that the commands run in.

    Attributes:
        place: the folder above the season folder.
        text: the page so far.
    """

    def __init__(self, place: Path) -> None:
        """Begin an empty page.

        Args:
            place: an empty folder, to hold the season folder.
        """
        self.place = place
        self.text = ""
        self._cautioned = False

    @property
    def season(self) -> Path:
        """The season folder."""
        return self.place / SEASON

    def say(self, words: str) -> None:
        """Add a paragraph or more."""
        self.text += words.strip() + "\n\n"

    def run(self, *arguments: str, cut: tuple[str, str] | None = None) -> int:
        """Run a command, add it with its output, and return its exit status.

        Args:
            *arguments: the command's name and options; the season folder follows the name.
            cut: beginnings of two lines; from the first on, all before the second is left out.
        """
        command = [*self._whole(arguments)]
        done = self._call(command)
        shown = _trimmed(done.stdout, caution=not self._cautioned)
        self._cautioned |= CAUTION.split(".")[0] in shown
        if cut is not None:
            shown = _cut(shown, *cut)
        self.text += f"```text\n$ slackwater {shlex.join(command)}\n{shown}```\n\n"
        return done.returncode

    def ask(self, *arguments: str) -> dict[str, Any]:
        """Return a command's answer as JSON, without showing it."""
        done = self._call([*self._whole(arguments), "--json"])
        found: dict[str, Any] = json.loads(done.stdout[done.stdout.index("{") :])
        return found

    def step(self) -> str:
        """Return the stage that the next step is of."""
        return str(self.ask("check")["next"]["stage"])

    def _whole(self, arguments: tuple[str, ...]) -> list[str]:
        head = 2 if arguments[0] == "trial" else 1
        return [*arguments[:head], SEASON, *arguments[head:]]

    def _call(self, command: list[str]) -> subprocess.CompletedProcess[str]:
        plain = {"COLUMNS": "80", "PYTHONUNBUFFERED": "1", "OMP_NUM_THREADS": "1"}
        return subprocess.run(
            [sys.executable, "-m", "slackwater.fitting", *command],
            cwd=self.place,
            env=os.environ | plain,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
        )


def _trimmed(output: str, caution: bool) -> str:
    """Return output as a page can show it, the caution only where asked for."""
    text = "".join(f"{_folded(line.rstrip())}\n" for line in output.splitlines())
    if not caution:
        first, last = CAUTION.split()[:4], CAUTION.split()[-3:]
        text = re.sub(rf"\n{' '.join(first)}.*?{' '.join(last)}\n", "", text, flags=re.DOTALL)
    return text


def _folded(line: str) -> str:
    return line if len(line) <= 80 else textwrap.fill(line, 80, break_on_hyphens=False)


def _cut(text: str, first: str, then: str) -> str:
    lines = text.splitlines()
    begin = next(i for i, line in enumerate(lines) if line.startswith(first))
    end = next(i for i in range(begin, len(lines)) if lines[i].startswith(then))
    return "\n".join([*lines[:begin], LEFT_OUT, *lines[end:]]) + "\n"


def main() -> None:
    """Live through the season and write the page."""
    with tempfile.TemporaryDirectory() as place:
        page = Page(Path(place))
        worked_stages.whole(page)
    PAGE.write_text(page.text.rstrip() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
