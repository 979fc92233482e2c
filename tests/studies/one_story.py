"""What every screen says of the same things, side by side, in four seasons.

    python -m tests.studies.one_story

Fits the demo season once, makes three others of it (readings that drop with nothing logged, a
hill run that was not planned, a trial under way), and prints a table of each: a row for each
thing, and what every screen that speaks of it says. Takes half a minute. Writes no page.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from slackwater.fitting import SeasonFolder, fit
from slackwater.fitting.demo import copy_demo
from tests.fitting.report.one_story import Rows, Story, four_seasons, rows


def main() -> None:
    """Print the tables, and how many things are told in more than one way."""
    with tempfile.TemporaryDirectory() as at:
        fitted = Path(at) / "fitted"
        copy_demo(fitted)
        season = SeasonFolder(fitted)
        season.learn(fit(season.season))
        differ = 0
        for what, folder in four_seasons(fitted, Path(at)).items():
            told = rows(Story(folder))
            differ += sum(len(set(said.values())) > 1 for said in told.values())
            sys.stdout.write(f"\n## {what}\n\n{table(told)}\n")
        sys.stdout.write(f"\nThings that two screens tell otherwise: {differ}.\n")


def table(told: Rows) -> str:
    """Return a season's things as a Markdown table."""
    lines = ["| what | says | told by |", "| --- | --- | --- |"]
    for what, said in told.items():
        for value in dict.fromkeys(said.values()):
            screens = ", ".join(screen for screen, told in said.items() if told == value)
            lines.append(f"| {what} | {value} | {screens} |")
    return "\n".join(lines)


if __name__ == "__main__":
    main()
