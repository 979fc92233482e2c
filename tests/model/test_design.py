"""Gaps in the log in which a session may have been forgotten, and what the model makes of them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from slackwater.model import names as n
from slackwater.model.design import design_of, long_gaps
from slackwater.model.paths import fitted_events, groups, last_night, rates
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from slackwater.model.simulator import Impulse, Truth, simulate
from tests.model.test_paths import draws_of

FIRST = np.datetime64("2031-03-01")
EVERY_OTHER = list(range(1, 40, 2))
FORGOT = [day for day in EVERY_OTHER if day != 21]


def trained_on(days: list[int], ill: tuple[int, ...] = (), nights: int = 45) -> Season:
    """Return a season with a session on these days, counted from the first reading's."""
    given = {"date": FIRST + np.array(days, "timedelta64[D]"), "type": "row"}
    stressors = {"date": FIRST + np.array(ill, "timedelta64[D]"), "stressor": "cold"}
    read = pd.DataFrame({"date": FIRST + np.arange(nights), "log_rmssd": 4.0})
    return Season.from_tables(
        "spring", read, pd.DataFrame(given), stressors=pd.DataFrame(stressors)
    ).observed()


def test_a_session_left_out_of_a_steady_log_leaves_a_gap() -> None:
    found = long_gaps(trained_on(FORGOT))
    assert found.usual == 2
    assert found.nights.tolist() == [[21, 23]]  # a session of the 20th, 21st or 22nd day
    assert found.every_night.tolist() == [21, 22, 23]
    (told,) = found.told(trained_on(FORGOT))
    assert told.facts == {"first": "2031-03-21", "last": "2031-03-23", "usual": 2}


def test_what_is_usual_is_no_gap() -> None:
    assert not long_gaps(trained_on(EVERY_OTHER)).every_night.size
    weekly_rest = [day for day in range(1, 42) if day % 7]
    assert not long_gaps(trained_on(weekly_rest)).every_night.size


def test_a_week_off_an_illness_and_a_short_log_are_taken_as_they_are() -> None:
    week_off = [day for day in EVERY_OTHER if not 17 <= day <= 23]
    assert not long_gaps(trained_on(week_off)).every_night.size
    assert not long_gaps(trained_on(FORGOT, ill=(21,))).every_night.size
    assert not long_gaps(trained_on([1, 3, 5, 9, 11])).every_night.size
    assert not long_gaps(trained_on([])).every_night.size


def test_such_nights_are_a_group_of_their_own() -> None:
    design = design_of(trained_on(FORGOT))
    assert design.event_nights[-3:].tolist() == [21, 22, 23]
    assert design.event_groups[-3:].tolist() == [2, 2, 2]  # after the type and the start


def test_a_forgotten_session_weighs_on_its_night_and_is_not_hidden_from_the_watch() -> None:
    season = trained_on(FORGOT)
    drawn = draws_of(season).draws
    some = drawn.assign({n.UNLOGGED_DIP: drawn[n.UNLOGGED_DIP] * 0 + [0.0, 0.2, 0.0]})
    none = drawn.assign({n.UNLOGGED_DIP: drawn[n.UNLOGGED_DIP] * 0})
    assert groups(some) == ["row", n.START, n.UNLOGGED]
    rate = rates(some)[:, 2]
    np.testing.assert_allclose(rate, np.exp(some[n.TYPE_RATE_MEAN]))
    design = design_of(season)
    np.testing.assert_allclose(fitted_events(some, design).dips[0, -3:], [0.0, 0.2, 0.0])
    with_it, levels = last_night(some, season, design, Priors())
    without, same = last_night(none, season, design, Priors())
    np.testing.assert_allclose(with_it["dip"].values[:, 2], 0.2 * np.exp(-rate * (44 - 22)))
    np.testing.assert_allclose(levels, same)
    assert (with_it["level_mean"].values[:, 0] > without["level_mean"].values[:, 0]).all()


def test_a_simulated_athlete_forgets_nothing() -> None:
    season = trained_on(FORGOT)
    truth = Truth(60.0, {"row": Impulse(0.2, 1.5)}, start=Impulse(0.0, 1.0), session_sd=1e-9)
    made = simulate(truth, season, np.random.default_rng(3))
    assert (np.diff(made.dip[20:24]) < 0).all()
