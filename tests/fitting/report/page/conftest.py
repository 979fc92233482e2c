"""One report for all tests: of the demo season, of the same with odd names, and with a plan."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from slackwater.fitting import Athlete
from slackwater.fitting.questions import ask_for_report
from slackwater.fitting.report.asked import Asked
from tests.fitting.conftest import Fitted, run
from tests.fitting.report.page.renamed import ODD, write_renamed

PLAN = ("--want", "hill run:1", "--want", "steady row:2", "--days", "16", "--keep")


@pytest.fixture(scope="session")
def asked(demo: Fitted) -> Asked:
    return ask_for_report(Athlete(demo.season, demo.posterior), 0.8)


@pytest.fixture(scope="session")
def planned(demo: Fitted, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo season with a kept plan and its report."""
    folder = Path(shutil.copytree(demo.folder, tmp_path_factory.mktemp("plan") / "planned"))
    assert run("spacing", folder, *PLAN).status == 0
    assert run("report", folder).status == 0
    return folder


@pytest.fixture(scope="session")
def odd(demo: Fitted, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo season with names that a page could stumble over, and its report."""
    folder = tmp_path_factory.mktemp("odd") / 'a <b>season</b> & "more"'
    write_renamed(demo, folder, ODD)
    assert run("report", folder).status == 0
    return folder
