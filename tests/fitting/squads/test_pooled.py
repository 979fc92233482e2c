"""What a squad's athletes tell together: what is kept of it, where, and what is refused."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from slackwater.fitting import SquadFolder
from slackwater.fitting.pooling.population_file import read_population
from slackwater.fitting.squads.index import POPULATION, TYPES, TypeRow, read_rows
from slackwater.fitting.squads.learn import squad_fit
from slackwater.fitting.squads.pooled import pool_squad
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from tests.fitting.squads.made import ALONE_IN_IT, GROUP, ByHand


def test_the_population_holds_no_reading_and_no_name(club: Path) -> None:
    text = (club / POPULATION).read_text()
    assert not [name for name in GROUP if name in text]
    assert not re.search(r"\d{4}-\d\d", text)
    assert ALONE_IN_IT not in text  # which would tell of one athlete
    population = read_population(club / POPULATION)
    assert population.athletes == len(GROUP)
    assert population.labels[n.TYPE_LOG_DIP] == ("hill run", "easy paddle")
    assert set(json.loads(text)) == {"kind", "schema", "athletes", "quantities"}


def test_nothing_of_the_others_is_written_into_an_athletes_folder(club: Path) -> None:
    for name in GROUP:
        held = {path.name for path in (club / name).iterdir()} - {".slackwater.lock"}
        tables = {"readings.csv", "sessions.csv", "interventions.csv", "types.csv"}
        assert held <= {*tables, "posterior.nc"}


def test_rows_can_be_read_by_any_program_for_tables(club: Path) -> None:
    table = pq.read_table(club / TYPES, columns=["athlete", "type"])
    rows = [*read_rows(SquadFolder(club), TypeRow)]
    assert table.to_pylist() == [{"athlete": r.athlete, "type": r.type} for r in rows]
    assert [r.athlete for r in rows].count("ada") == 3


def test_a_damaged_table_is_named(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    (copy / TYPES).write_bytes((copy / TYPES).read_bytes()[:-9])
    with pytest.raises(NoAnswerError, match=r"squad's file damaged: file='squad-types\.parquet'"):
        next(read_rows(SquadFolder(copy), TypeRow))


def test_names_that_mean_the_same_are_one_type(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    for path in (copy / "carla" / "sessions.csv", copy / "carla" / "types.csv"):
        path.write_text(path.read_text().replace("hill run", "long hills"))
    (copy / "carla" / "posterior.nc").unlink()
    (copy / "squad.toml").write_text('[types]\n"long hills" = "hill run"\n')
    answer = squad_fit(SquadFolder(copy), ByHand())
    assert [each.athlete for each in answer.fitted] == ["carla"]
    hills = next(each for each in answer.group if each.type == "hill run")
    assert hills.athletes == 4


def test_one_athletes_two_names_may_not_become_one(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    (copy / "squad.toml").write_text('[types]\n"lifting" = "hill run"\n')
    with pytest.raises(NoAnswerError) as refused:
        pool_squad(SquadFolder(copy), ["ada"])
    assert [reason.code for reason in refused.value.reasons] == ["too few athletes", "types meet"]


def test_a_group_of_one_is_none(club: Path) -> None:
    with pytest.raises(NoAnswerError, match="too few athletes: athletes=1, needed=2"):
        pool_squad(SquadFolder(club), ["ada"])
