"""Whether the model describes a season: what was planted is found, and the demo has nothing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import Athlete, SeasonFolder, residuals
from slackwater.fitting.describing.residuals import Residuals
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_athlete
from tests.fitting.conftest import Fitted, run

NIGHTS = 170
MONDAYS = np.array([(FIRST + DAY * day).astype(object).weekday() == 0 for day in range(NIGHTS)])


def walked(seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    level = 4.0 + np.cumsum(0.01 * rng.standard_normal(NIGHTS))
    return np.asarray(level + 0.1 * rng.standard_normal(NIGHTS))


def asked(readings: np.ndarray) -> Residuals:
    """Ask about readings of which all parameters are known."""
    season = by_hand.season(readings=readings)
    return residuals(whole_athlete(season, Known(noise_sd=0.1, noise_tail=1e-6, drift_sd=0.01)))


def test_the_model_describes_what_it_made() -> None:
    answer = asked(walked())
    assert answer.describes
    assert answer.found == ()
    assert answer.readings == NIGHTS - 1
    assert answer.by_nights_since_session == answer.by_type == ()
    assert answer.dose_power is None
    assert answer.nights["residual_percent"].sizes == {"night": NIGHTS - 1}


def test_low_mondays_are_found_and_how_low_they_are() -> None:
    answer = asked(walked() - 0.12 * MONDAYS)
    assert not answer.describes
    (found,) = [reason for reason in answer.found if reason.code == "weekday lies off"]
    assert found.facts["weekday"] == "Monday"
    monday = answer.by_weekday[0]
    off, chance = 100 * np.expm1(-0.12), 100 * 0.11 / np.sqrt(MONDAYS.sum())
    assert monday.value.median == pytest.approx(off, abs=3 * chance)
    assert monday.departs
    assert not any(on.departs for on in answer.by_weekday[2:])


def test_noise_that_lingers_is_found() -> None:
    rng = np.random.default_rng(5)
    noise = np.zeros(NIGHTS)
    for night in range(1, NIGHTS):
        noise[night] = 0.5 * noise[night - 1] + 0.09 * rng.standard_normal()
    answer = asked(4.0 + noise)
    assert answer.found[0].code == "nights linger"
    assert 0.2 < answer.lag_1_autocorrelation.value.median < 0.6


def test_the_level_widens_intervals_and_moves_no_verdict(demo_athlete: Athlete) -> None:
    narrow, wide = (residuals(demo_athlete, level) for level in (0.5, 0.95))
    for a, b in zip(narrow.by_weekday, wide.by_weekday, strict=True):
        assert b.value.low < a.value.low < a.value.high < b.value.high
        assert (a.by_chance, a.chance, a.value.median) == (b.by_chance, b.chance, b.value.median)


def test_the_demo_season_is_one_that_the_model_describes(demo_athlete: Athlete) -> None:
    answer = residuals(demo_athlete)
    assert answer.describes
    assert {at.type for at in answer.by_type} == {*demo_athlete.season.types}
    counted = sum(on.readings for on in answer.by_weekday[:7])
    assert counted == answer.readings == int(demo_athlete.season.read.sum()) - 1


def test_what_departs_is_kept_with_the_fit_and_told_by_check(demo: Fitted, demo_copy: Path) -> None:
    assert SeasonFolder(demo_copy).departures is None  # nobody looked
    assert "model" not in run("check", demo_copy).out
    folder = SeasonFolder(demo_copy)
    folder.learn(demo.posterior)
    assert SeasonFolder(demo_copy).departures == ()
    assert "Nothing speaks against the model" in run("check", demo_copy).out
    assert json.loads(run("check", demo_copy, "--json").out)["described"] is True
    with (demo_copy / "sessions.csv").open("a", encoding="utf-8") as file:
        file.write("2031-05-04,hill run,1\n")
    assert SeasonFolder(demo_copy).departures is None  # of another past
    assert json.loads(run("check", demo_copy, "--json").out)["described"] is None


def test_a_season_edited_since_the_fit_is_refused(demo: Fitted) -> None:
    shorter = demo.season.through(demo.season.nights[-30])
    with pytest.raises(NoAnswerError) as refused:
        residuals(Athlete(shorter, demo.posterior))
    assert refused.value.reasons == (Reason("edited since the fit", last_night="2031-07-06"),)
