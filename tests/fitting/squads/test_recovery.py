"""Days to recover in a squad: own, group's, and who differs."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder, SquadFolder, recovery, squad_recovery
from slackwater.fitting.answers.intervals import interval_of
from slackwater.model.errors import NoAnswerError, QuestionError
from tests.fitting.squads.made import ALONE_IN_IT, GROUP, SLOW, unfitted


def test_alone_is_what_the_athletes_own_answer_says(club: Path) -> None:
    answer = squad_recovery(SquadFolder(club))
    assert [each.athlete for each in answer.athletes] == [*GROUP]
    for each in answer.athletes:
        own = recovery(SeasonFolder(club / each.athlete)).types
        for row in each.types:
            alone = interval_of(own["typical_days"].sel(type=row.type))
            assert row.alone_days is not None
            np.testing.assert_allclose([*row.alone_days], [*alone], atol=1e-9)
            assert row.sessions == int(own["sessions"].sel(type=row.type))


def test_who_is_unlike_the_others_is_told_and_not_dragged_along(club: Path) -> None:
    answer = squad_recovery(SquadFolder(club))
    found = {(e.athlete, r.type): r for e in answer.athletes for r in e.types}
    slow = found[SLOW, "hill run"]
    assert slow.differs == "longer"
    assert slow.chance_longer is not None
    assert slow.chance_longer > 0.975
    assert slow.alone_days is not None
    assert slow.typical_days.median > 0.8 * slow.alone_days.median
    hills = next(each for each in answer.group if each.type == "hill run")
    assert hills.typical_days.median < slow.typical_days.low
    assert hills.another_days.low < hills.typical_days.median < hills.another_days.high
    assert hills.spread_days.low > 0
    assert found["ada", "hill run"].differs != "longer"


def test_what_one_athlete_alone_does_is_nobody_elses(club: Path) -> None:
    answer = squad_recovery(SquadFolder(club))
    lifting = next(r for r in answer.athletes[0].types if r.type == ALONE_IN_IT)
    assert lifting.chance_longer is None
    assert ALONE_IN_IT not in [each.type for each in answer.group]
    assert all(0 <= r.own_share <= 1 for each in answer.athletes for r in each.types)


def test_what_changed_since_is_told(club: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(club, tmp_path / "copy")
    (copy / "bruno" / "stressors.csv").write_text("date,stressor\n2031-03-09,head cold\n")
    shutil.copytree(copy / "ada", copy / "eva")
    shutil.rmtree(copy / "carla")
    answer = squad_recovery(SquadFolder(copy))
    minds = {each.athlete: [r.code for r in each.mind] for each in answer.athletes}
    assert "changed since the squad's fit" in minds["bruno"]
    assert "changed since the squad's fit" not in minds["ada"]
    assert [each.athlete for each in answer.unanswered] == ["eva"]
    assert "few athletes" in [reason.code for reason in answer.about.warnings]


def test_a_squad_that_was_not_fitted_has_no_answer(tmp_path: Path) -> None:
    with pytest.raises(NoAnswerError, match="squad not fitted"):
        squad_recovery(SquadFolder(unfitted(tmp_path, "ada")))
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        squad_recovery(SquadFolder(tmp_path), level=80)
