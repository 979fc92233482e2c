"""A measure across a squad: for a typical athlete, for another, for each; and what is refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder, SquadFolder, compare_intervention, squad_compare
from slackwater.model.errors import NoAnswerError, QuestionError
from tests.fitting.trials.by_hand import plan


def test_each_users_own_is_that_of_the_athlete_alone(club: Path) -> None:
    answer = squad_compare(SquadFolder(club), "river dip")
    assert [each.athlete for each in answer.athletes] == ["ada", "bruno", "david"]
    assert [each.athlete for each in answer.unanswered] == ["carla"]
    for each in answer.athletes:
        alone = compare_intervention(SeasonFolder(club / each.athlete), "river dip")
        np.testing.assert_allclose(each.alone_ratio, alone.rate_ratio, rtol=1e-3)
        assert each.sessions_with == alone.sessions_with
        assert each.nights_without == alone.nights_without
    assert answer.users == 3
    assert answer.nights_with == sum(each.nights_with for each in answer.athletes)


def test_the_group_is_surer_than_one_and_one_more_is_less_sure(club: Path) -> None:
    answer = squad_compare(SquadFolder(club), "river dip")
    assert answer.rate_ratio.low < 1.4 < answer.rate_ratio.high * 1.1
    assert answer.another_ratio.low <= answer.rate_ratio.low
    assert answer.chance_another_faster <= answer.chance_faster + 0.02
    assert answer.spread_ln.low > 0
    assert answer.verdict == "undecided"


def test_what_nobody_or_one_alone_uses_has_no_groups_answer(club: Path, tmp_path: Path) -> None:
    with pytest.raises(QuestionError, match="river dip"):
        squad_compare(SquadFolder(club), "river dop")
    copy = shutil.copytree(club, tmp_path / "copy")
    for gone in ("bruno", "david"):
        shutil.rmtree(copy / gone)
    answer = squad_compare(SquadFolder(copy), "river dip")
    assert answer.users == 1


def test_nobody_looks_at_a_trial_before_its_end(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    SeasonFolder(copy / "ada").record(plan(measure="river dip"))
    with pytest.raises(NoAnswerError, match="on trial in the squad"):
        squad_compare(SquadFolder(copy), "river dip")
