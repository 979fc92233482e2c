"""The commands for squads, as they are typed."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from slackwater.fitting import Posterior, SeasonFolder
from slackwater.fitting.demo import copy_demo_squad
from slackwater.model import names as n
from slackwater.model.priors import GroupPriors, Priors
from tests.fitting.conftest import run
from tests.fitting.squads.made import GROUP

ABOUT = {"schema", "season", "last_night", "level", "warnings", "reasons"}


@pytest.mark.parametrize(
    "asked",
    [
        ("today", "--date", "2031-04-09"),
        ("recovery",),
        ("compare", "--intervention", "river dip"),
        ("report", "--out", "squad.html"),
    ],
    ids=lambda asked: asked[0],
)
def test_each_command_answers_in_words_and_in_json(
    club: Path, asked: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    word, *options = asked
    told = run("squad", word, club, *options)
    assert told.status == 0, told.err
    assert told.out
    found = json.loads(run("squad", word, club, *options, "--json").out)
    assert set(found) > ABOUT
    assert found["schema"] == 1
    assert found["season"] == "club"


def test_recoverys_json_is_that_of_the_contract(club: Path) -> None:
    found = json.loads(run("squad", "recovery", club, "--json", "--level", "0.9").out)
    assert found["level"] == 0.9
    for athlete in found["athletes"]:
        for row in athlete["types"]:
            assert {"type", "sessions", "typical_days", "own_share"} <= set(row)
            assert set(row["typical_days"]) == {"median", "low", "high"}
    for row in found["group"]:
        assert {"type", "typical_days", "spread_days"} <= set(row)


def test_names_may_be_left_out_of_every_answer(club: Path) -> None:
    for word in ("today", "recovery"):
        told = run("squad", word, club, "--shown", "numbers", "--details")
        assert not [name for name in GROUP if name in told.out + told.err]


def test_what_is_wrong_with_a_squad_is_named(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    (copy / "squad.toml").write_text('[athletes]\nadda = "A"\n')
    told = run("squad", "recovery", copy)
    assert told.status == 2
    assert told.err.strip() == (
        "squad.toml:2:1: [athletes] no season folder 'adda'; did you mean 'ada'?"
    )
    (copy / "squad.toml").unlink()
    (copy / "population.json").unlink()
    told = run("squad", "recovery", copy)
    assert (told.status, told.err.strip()) == (1, "This squad was not fitted yet; fit it first.")
    told = run("squad", "compare", club, "--intervention", "river dop")
    assert told.status == 2
    assert "Did you mean 'river dip'?" in told.err


def test_an_athlete_may_be_fitted_with_what_the_group_tells(
    club: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = shutil.copytree(club / "bruno", tmp_path / "bruno")
    given: list[Priors] = []

    def fit(season: SeasonFolder, *, priors: Priors, **_how: object) -> Posterior:
        given.append(priors)
        return season.posterior

    monkeypatch.setattr(SeasonFolder, "fit", fit)
    told = run("fit", copy, "--population", club / "population.json")
    assert "With what a group of 4 athletes tells, days to recover:" in told.out, told.err
    assert "hill run: " in told.out
    assert "% of what the group leaves open" in told.out
    assert not [name for name in GROUP if name in told.out.replace("bruno", "")]
    (priors,) = given
    assert isinstance(priors, GroupPriors)
    assert priors.of(n.TYPE_LOG_DIP, "hill run") is not None
    told = run("fit", copy, "--population", copy / "readings.csv")
    assert told.status == 2
    assert "is no population as `slackwater squad fit` writes it" in told.err


def test_the_demo_squad_is_copied_without_its_truth(tmp_path: Path) -> None:
    copy_demo_squad(tmp_path / "club")
    assert (tmp_path / "club" / "squad.toml").is_file()
    assert len([path for path in (tmp_path / "club").iterdir() if path.is_dir()]) == 12
    assert not [*(tmp_path / "club").rglob("truth.json")]


def test_dask_is_loaded_by_fitting_alone(club: Path) -> None:
    script = f"""
import sys
from slackwater.fitting import cli
sys.argv = ["slackwater", "squad", "recovery", {str(club)!r}]
try:
    cli.main()
except SystemExit:
    pass
heavy = {{"dask", "distributed", "pymc", "arviz", "matplotlib", "scipy"}}
print(sorted(name for name in heavy if sys.modules.get(name)), file=sys.stderr)
"""
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert ran.stderr.strip().endswith("\n[]"), ran.stderr
