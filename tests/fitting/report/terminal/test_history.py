"""Baseline and recovery over the whole history, as they are shown on a terminal."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import history
from slackwater.fitting.report.objects import as_object
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.test_history import CERTAIN, of_years, rowed_and_lifted
from tests.fitting.answers.whole_by_hand import whole_athlete
from tests.fitting.conftest import Fitted, run
from tests.fitting.report.terminal.printing import printed

ROWED = CERTAIN._replace(types={"row": (1e-9, 1.0)})


def shown_of(season: Season, known: Known = ROWED) -> str:
    """Return a season's history as it is shown, on one line."""
    return " ".join(printed("history", history(whole_athlete(season, known))).split())


def test_the_first_and_the_last_quarter_are_said() -> None:
    readings = list(np.linspace(4.0, 4.3, 150))
    answer = history(whole_athlete(by_hand.season(readings=readings), CERTAIN))
    shown = printed("history", answer)
    assert "Baseline was 56 ms (56 to 56) in 2031 Q1, and 72 ms" in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert as_object(answer)["quarters"][0]["change_percent"] is None
    assert "Baseline was 55 ms (55 to 55) in 2031 Q1." in shown_of(by_hand.season(20))


def test_the_scale_of_baseline_is_said_where_a_sensor_changed() -> None:
    switched = by_hand.season(61, sensors=["clip"] * 31 + ["strap"] * 30)
    known = CERTAIN._replace(sensor_steps={"clip": 0.12})
    assert "on the scale of strap" in shown_of(switched, known)
    assert "on the scale of" not in shown_of(by_hand.season(61))


def test_a_change_of_recovery_is_said_where_it_is_clear() -> None:
    shown = printed("history", rowed_and_lifted({"row": (-1.2, 1.2), "lift": (0.2, 0.2)}))
    assert "row: dips deeper in the later half, by +" in shown
    assert "lift: dips" not in shown
    assert "takes a part of that for a change of baseline" in " ".join(shown.split())
    shown = printed("history", rowed_and_lifted({"row": (1.2, -1.2), "lift": (0.2, 0.2)}))
    assert "row: dips less deep in the later half, by \u2212" in shown
    shown = printed("history", rowed_and_lifted({"row": (0.3, -0.3), "lift": (-0.2, 0.6)}))
    assert "Not that the readings could tell" in shown
    assert "deeper in" not in shown
    assert "is at least 97.5 %." in " ".join(shown.split())


def test_too_few_sessions_say_so() -> None:
    few = by_hand.season(60, [(3, "row"), (9, "row"), (50, "row")])
    for season in (few, by_hand.season(60)):
        assert "Cannot say: no type has 4 sessions in either half." in shown_of(season)


def test_earlier_years_are_shown_against_now() -> None:
    answer = history(of_years())
    found = as_object(answer)["recovery"]
    assert found["types"] == []
    assert found["half_years"][0]["dip_then_percent"]["median"] == pytest.approx(22.14, abs=0.01)
    shown = printed("history", answer)
    assert "How sessions were before, all types together, against now:" in shown
    assert found["half_years"][0]["night"] in shown
    assert "+22 (+22 to +22)" in shown
    assert "lets recovery as a whole change slowly" in " ".join(shown.split())


def test_fewer_draws_are_said() -> None:
    answer = history(whole_athlete(by_hand.season(400), CERTAIN, draws=2000))
    assert "from 2500 of 4000 draws" in " ".join(printed("history", answer).split())


def test_a_habit_on_the_demo_season(demo: Fitted) -> None:
    asked = ["history", demo.folder, "--from", "2031-04-10", "--level", "0.98"]
    found = json.loads(run(*asked, "--json").out)
    assert {"schema", "season", "last_night", "level", "warnings"} <= set(found)
    assert found["habit"]["since"] == "2031-04-10"
    assert found["habit"]["meanwhile"][0]["what"] == "sessions of easy paddle"
    shown = run(*asked).out
    assert max(map(len, shown.splitlines())) <= 80
    assert "2031 Q2" in shown
    assert "no diagnosis" in shown
    whole = " ".join(shown.split())
    assert "many things change at once" in whole
    assert "Drift alone makes" in whole


def test_a_habit_with_too_few_readings_is_refused_in_words(demo: Fitted) -> None:
    ran = run("history", demo.folder, "--from", "2031-01-12")
    assert (ran.status, ran.out) == (1, "")
    assert "Around 2031-01-12 there are only" in ran.err
    assert "14 are needed." in ran.err


@pytest.mark.parametrize("date", ["2031-4-10", "20310410", "2031-W15-4", "spring", ""])
def test_a_date_that_is_none_is_refused(demo: Fitted, date: str) -> None:
    ran = run("history", demo.folder, "--from", date)
    assert (ran.status, ran.out) == (2, "")
    assert "YYYY-MM-DD" in ran.err


def test_no_posterior_no_history(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-01-06,60\n", encoding="utf-8")
    ran = run("history", tmp_path)
    assert (ran.status, ran.out) == (1, "")
    assert "not fitted yet" in ran.err
