"""New mornings taken into an older fit, against a fit of everything."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from slackwater.fitting import Athlete, Posterior, fit
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.season import DAY, Season
from tests.fitting.conftest import Fitted

Floats = NDArray[np.float64]

NEW = 7
# Two medians from 4,000 draws worth 1,000 or so lie within 2.7 of their Monte Carlo errors of
# each other. Seen: at most 0.06 on both stacks.
CLOSE = 0.15


@pytest.fixture(scope="module")
def older(demo: Fitted) -> Posterior:
    """Return a fit of the demo season as it was a week before its end."""
    return fit(demo.season.through(demo.season.last_night - NEW * DAY))


def answers(now: Standing) -> dict[str, Floats]:
    return {
        "typical days": typical_days(now),
        "baseline": now.level.mean[0],
        "dip left": now.dips.sum(axis=1),
        "noise": now.parameter(n.NOISE_SD),
        "rate ratios": now.parameter(n.LOG_RATE_RATIO),
        "session scatter": now.parameter(n.SESSION_SD),
    }


def apart(one: Standing, other: Standing) -> dict[str, float]:
    """Return the largest distance of two medians of each quantity, in SDs of the first."""
    mine, theirs = answers(one), answers(other)
    return {
        name: float(np.max(np.abs(np.median(x, 0) - np.median(theirs[name], 0)) / x.std(0)))
        for name, x in mine.items()
    }


def test_new_mornings_give_the_answers_of_a_new_fit(
    demo: Fitted, demo_athlete: Athlete, older: Posterior
) -> None:
    refitted, updated = demo_athlete.now, Athlete(demo.season, older).now
    assert updated.night == refitted.night
    distances = apart(refitted, updated)
    assert max(distances.values()) < CLOSE, distances
    widths = {name: x.std(0) for name, x in answers(updated).items()}
    for name, x in answers(refitted).items():
        # An SD of 1,000 effective draws has a Monte Carlo error of about 2.2 %; times 2 and 5.
        np.testing.assert_allclose(widths[name] / x.std(0), 1.0, atol=0.2, err_msg=name)


def test_the_older_fit_by_itself_would_not(
    demo: Fitted, demo_athlete: Athlete, older: Posterior
) -> None:
    distances = apart(demo_athlete.now, Athlete(demo.season, older).as_fitted)
    assert distances["typical days"] > CLOSE
    assert distances["baseline"] > CLOSE


def test_a_night_measured_badly_moves_the_baseline_less(demo: Fitted, older: Posterior) -> None:
    def baseline_after(ln_sd: float) -> float:
        tables = demo.season.tables()
        readings = tables["readings"]
        last = readings.index[-1]
        readings.loc[last, "log_rmssd"] -= 0.3
        readings.loc[last, "ln_sd"] = ln_sd
        season = Season.from_tables("demo", **tables)
        return float(np.median(Athlete(season, older).now.level.mean[0]))

    exact, rough, useless = map(baseline_after, (0.0, 0.2, 0.99))
    assert exact < rough < useless
    assert useless - rough < rough - exact


def test_not_too_many_draws_die_out(demo: Fitted, older: Posterior) -> None:
    updated = Athlete(demo.season, older).now
    assert len(np.unique(updated.level.mean[0])) > 0.25 * len(updated.level.mean[0])


def test_new_mornings_are_taken_apart_as_by_a_new_fit(
    demo: Fitted, demo_athlete: Athlete, older: Posterior
) -> None:
    whole, taken_in = demo_athlete.past, Athlete(demo.season, older).past
    new = {(e.label, e.date) for e in whole.events if e.date and e.date > older.last_night}
    assert {
        (e.label, e.date) for e in taken_in.events if e.date and e.date > older.last_night
    } == new
    assert len(new) > 1
    for mine, theirs in ((whole.level, taken_in.level), (whole.shown, taken_in.shown)):
        spread = mine[:, -NEW:].std(axis=0)
        distance = np.median(mine[:, -NEW:], axis=0) - np.median(theirs[:, -NEW:], axis=0)
        assert (np.abs(distance) / spread).max() < CLOSE
        np.testing.assert_allclose(theirs[:, -NEW:].std(axis=0) / spread, 1.0, atol=0.2)
