"""The demo season with all that a season folder can hold beside its files."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.conftest import Fitted, run
from tests.fitting.trials import by_hand as trial_by_hand

TYPES = {"hill run": 0.2, "row intervals": 0.2, "heavy lifting": 0.2, "steady row": 0.4}


@pytest.fixture(scope="module")
def everything(demo: Fitted, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo season with a plan kept and a trial under way."""
    folder = shutil.copytree(demo.folder, tmp_path_factory.mktemp("columns") / "demo")
    ran = run("spacing", folder, "--want", "hill run:1", "--days", "14", "--keep")
    assert ran.status == 0, ran.err
    start = round((np.datetime64("2031-03-03") - by_hand.FIRST) / DAY)
    kept = trial_by_hand.plan(start, per_arm=20, measure="beet juice", types=TYPES)
    SeasonFolder(folder).record(kept)
    return folder
