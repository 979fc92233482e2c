"""What the page for a coach shows, from the demo squad: `python -m tests.studies.squad_page`.

    python -m tests.studies.squad_page [--fitted FOLDER]

Takes about two minutes of processor time to fit the squad; with a folder that holds it fitted,
some seconds. Writes docs/outputs/squad-*.txt, by the real command line, and
docs/pictures/squad-*.png, the report and the page in Chromium.
"""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from slackwater.fitting.demo import copy_demo_squad
from tests.fitting.serving.served import Clock, Served

DOCS: Final = Path(__file__).parents[2] / "docs"
SQUAD: Final = "weir-club"
ASKED: Final = {
    "fit": (),
    "today": (),
    "recovery": (),
    "compare": ("--intervention", "river dip"),
}
UP_TO: Final = {"recovery": "row intervals"}
LEFT_OUT: Final = "[…]"
PHONE: Final = {"width": 390, "height": 844}
DAY: Final = "2031-05-12"
DESK: Final = {"width": 1200, "height": 900}


def main() -> None:
    """Fit the demo squad, ask about it, and take the pictures of its report."""
    parser = argparse.ArgumentParser(description="What the page for a coach shows.")
    parser.add_argument("--fitted", type=Path, help="a folder that holds the demo squad, fitted")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        squad = Path(place) / SQUAD
        if options.fitted:
            shutil.copytree(options.fitted, squad)
        else:
            copy_demo_squad(squad)
            _run(squad, "fit", ())  # what is shown is that it goes on where it was
        for name, more in ASKED.items():
            shown = _cut(_run(squad, name, more), UP_TO.get(name))
            text = f"$ slackwater {shlex.join(('squad', name, SQUAD, *more))}\n{shown}"
            (DOCS / "outputs" / f"squad-{name}.txt").write_text(text, encoding="utf-8")
        _run(squad, "report", ("--out", "report.html"))
        pictures((squad.parent / "report.html").as_uri(), squad)


def _run(squad: Path, word: str, more: tuple[str, ...]) -> str:
    plain = {"COLUMNS": "80", "PYTHONUNBUFFERED": "1", "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "slackwater.fitting", "squad", word, squad.name, *more],
        cwd=squad.parent,
        env=os.environ | plain,
        stdout=subprocess.PIPE,
        encoding="utf-8",
        check=True,
    )
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


def _cut(text: str, heading: str | None) -> str:
    """Return a text without what lies between a heading and the caution at its end."""
    lines = text.splitlines()
    if heading is not None:
        begin = lines.index(heading)
        end = max(i for i, line in enumerate(lines) if not line)
        lines = [*lines[:begin], LEFT_OUT, *lines[end:]]
    return "\n".join(lines) + "\n"


def pictures(report: str, squad: Path) -> None:
    """Take pictures of a report, at a desk and on a phone, and of the page on the squad."""
    from playwright.sync_api import sync_playwright  # the test of the page does without it

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        served = Served(squad, Clock(DAY))  # once there is a browser: it keeps the process waiting
        try:
            _picture(browser, report, DESK, "squad-report.png")
            _picture(browser, report, PHONE, "squad-athlete.png", "Emil")
            _picture(browser, served.link, DESK, "squad-page.png", then=f"{served.base}/squad")
        finally:
            browser.close()
            served.end()


def _picture(
    browser: Any, address: str, size: Any, name: str, athlete: str = "", then: str = ""
) -> None:
    page = browser.new_page(viewport=size)
    page.goto(address)
    if then:
        page.goto(then)
    if athlete:
        page.locator("nav a", has_text=athlete).click()
    page.screenshot(path=DOCS / "pictures" / name)
    page.close()


if __name__ == "__main__":
    main()
