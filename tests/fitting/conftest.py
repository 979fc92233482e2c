"""One fit of the demo season for all tests that need a real posterior, and the command line."""

from __future__ import annotations

import io
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from slackwater.fitting import Athlete, Posterior, fit, read_season
from slackwater.fitting.cli import answer
from slackwater.fitting.demo import copy_demo
from slackwater.model.season import Season

PAGE = Path(__file__).parents[2] / "docs" / "season-folder.md"
# Messages about what the tables of cases cannot set up; other tests raise them.
OTHERWISE_RAISED = (
    "the file cannot be read",
    "the folder cannot be read",
    "there is no such folder",
    "this is a file",
    "this is a link to nothing",
    "there are over 200,000 rows",
    "... like the 20 above",
)


class Fitted(NamedTuple):
    """A season with its posterior, and the folder that holds both; not to be written to."""

    folder: Path
    season: Season
    posterior: Posterior


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Start Chromium, by playwright; without either of them, what looks into it is skipped."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("chromium is not installed: nothing was looked at in a browser")
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=quiet)
        yield started
        started.close()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Fitted:
    folder = tmp_path_factory.mktemp("season") / "demo"
    copy_demo(folder)
    season = read_season(folder)
    posterior = fit(season)
    posterior.save(folder)
    return Fitted(folder, season, posterior)


@pytest.fixture(scope="session")
def demo_athlete(demo: Fitted) -> Athlete:
    return Athlete(demo.season, demo.posterior)


@pytest.fixture
def demo_copy(demo: Fitted, tmp_path: Path) -> Path:
    """Return a folder with the demo season and its posterior, free to be edited."""
    return shutil.copytree(demo.folder, tmp_path / "demo")


class Ran(NamedTuple):
    """What a command left behind: exit status, standard output, standard error."""

    status: int
    out: str
    err: str


def run(*arguments: object) -> Ran:
    """Run a command in this process, on a pipe 80 columns wide."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["slackwater", *map(str, arguments)])
        patch.setenv("COLUMNS", "80")
        try:
            answer()
        except SystemExit as end:
            status = int(end.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())


@pytest.fixture(scope="session")
def explained() -> Callable[[str, list[str]], None]:
    """Assert that a section of the users' page has these messages, and no other."""
    page = PAGE.read_text(encoding="utf-8")

    def check(title: str, messages: list[str]) -> None:
        section = re.split(r"\n#+ ", page.split(f"# {title}\n")[1])[0]
        entries = re.findall(r"^- `(.+?)`", section, flags=re.MULTILINE)
        said = [re.sub(r"^\S+?(:\d+){0,2}: ", "", message) for message in messages]
        patterns = {e: ".+".join(map(re.escape, e.split("..."))) for e in entries}
        assert not [m for m in said if not any(re.fullmatch(p, m) for p in patterns.values())]
        assert not [
            entry
            for entry, pattern in patterns.items()
            if not entry.startswith(OTHERWISE_RAISED)
            and not any(re.fullmatch(pattern, message) for message in said)
        ]

    return check


@pytest.fixture(scope="session")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a squad of four, fitted by hand and pooled; not to be written to."""
    from slackwater.fitting import SquadFolder
    from slackwater.fitting.squads.pooled import pool_squad
    from tests.fitting.squads.made import GROUP, drawn

    folder = drawn(tmp_path_factory.mktemp("squad") / "club")
    assert pool_squad(SquadFolder(folder), GROUP) == []
    return folder
