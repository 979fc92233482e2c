"""One fit of the demo season for all tests that need a real posterior, and the command line."""

from __future__ import annotations

import io
import shutil
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import pytest

from slackwater.fitting import Athlete, Posterior, fit, read_season
from slackwater.fitting.cli import main
from slackwater.fitting.demo import copy_demo
from slackwater.model.season import Season


class Fitted(NamedTuple):
    """A season with its posterior, and the folder that holds both; not to be written to."""

    folder: Path
    season: Season
    posterior: Posterior


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
    """Run a command in this process, as the installed script does, on a pipe 80 columns wide."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["slackwater", *map(str, arguments)])
        patch.setenv("COLUMNS", "80")
        try:
            main()
        except SystemExit as end:
            status = int(end.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())
