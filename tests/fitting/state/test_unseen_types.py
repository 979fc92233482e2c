"""Types that no reading shows yet: drawn from what the fit learnt of types in general."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting import Athlete
from slackwater.fitting.state.ahead import Ahead, days_until_baseline, look_ahead
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.state.unseen_types import draw_unseen
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import Reason
from slackwater.model.priors import Belief, GroupPriors, LabelBelief, Priors
from slackwater.model.season import DAY, Season
from tests.fitting.conftest import Fitted

NEW = "river swim"


def with_new(demo: Fitted, attributes: dict[str, str], sessions: int = 1) -> Season:
    """Return the demo season with a session of a new type on its last day and on later ones."""
    tables = demo.season.tables()
    types = pd.concat([tables["types"], pd.DataFrame([{"type": NEW, **attributes}])]).fillna("")
    dates = demo.season.last_night + DAY * np.arange(sessions)
    done = pd.DataFrame({"date": dates, "type": NEW, "dose": 1.0})
    grown = {**tables, "types": types, "sessions": pd.concat([tables["sessions"], done])}
    return Season.from_tables(demo.season.name, **grown)


def now_with_new(demo: Fitted, sessions: int = 1) -> Standing:
    return Athlete(with_new(demo, {}, sessions), demo.posterior).now


def test_a_new_type_is_drawn_from_the_population_of_types(demo: Fitted) -> None:
    """Standardised by each draw's own mean and scatter it is standard normal, within 5 SE."""
    draws = demo.posterior.draws
    season = with_new(demo, {"mode": "swim", "effort": ""})
    new = draw_unseen(season, draws, Priors(), np.random.default_rng(4))[NEW]
    first = np.log(draws[n.FIRST_NIGHT].values)
    for values, mean, sd in (
        (new.log_dip + first, n.TYPE_DIP_MEAN, n.TYPE_DIP_SD),
        (new.log_rate, n.TYPE_RATE_MEAN, n.TYPE_RATE_SD),
    ):
        score = (values - draws[mean].values) / draws[sd].values
        assert abs(score.mean()) < 5 / np.sqrt(score.size)
        assert abs(score.var() - 1) < 5 * np.sqrt(2 / score.size)


def test_attribute_values_that_it_shares_move_it(demo: Fitted) -> None:
    draws = demo.posterior.draws
    plain, hard = (
        draw_unseen(with_new(demo, given), draws, Priors(), np.random.default_rng(4))[NEW]
        for given in ({}, {"effort": "hard"})
    )
    which = [str(v) for v in draws[n.ATTRIBUTE_VALUE].values].index("effort: hard")
    effect = draws[n.ATTRIBUTE_DIP_SD].values * draws[n.ATTRIBUTE_DIP].values[:, which]
    np.testing.assert_allclose(hard.log_dip - plain.log_dip, effect, rtol=1e-9, atol=1e-12)


def test_what_a_group_knows_of_it_is_believed(demo: Fitted) -> None:
    """As the model believes it of a type that it holds; standard normal, within 5 SE."""
    draws = demo.posterior.draws
    known = {
        n.TYPE_LOG_DIP: LabelBelief(n.TYPE_LOG_DIP, NEW, Belief(0.7, 0.05)),
        n.TYPE_LOG_RATE: LabelBelief(n.TYPE_LOG_RATE, NEW, Belief(-0.4, 0.1)),
        n.ATTRIBUTE_DIP: LabelBelief(n.ATTRIBUTE_DIP, "mode: swim", Belief(1.0, 0.5)),
    }
    season = with_new(demo, {"mode": "swim", "effort": "hard"})
    group = GroupPriors(labels=tuple(known.values()))
    new = draw_unseen(season, draws, group, np.random.default_rng(4))[NEW]
    which = [str(v) for v in draws[n.ATTRIBUTE_VALUE].values].index("effort: hard")

    def left(values: Floats, mean: str, effect: str, sd: str) -> Floats:
        hard = draws[sd].values * draws[effect].values[:, which]
        return np.asarray(values - draws[mean].values - hard)

    first = np.log(draws[n.FIRST_NIGHT].values)
    dip = left(new.log_dip + first, n.TYPE_DIP_MEAN, n.ATTRIBUTE_DIP, n.ATTRIBUTE_DIP_SD)
    rate = left(new.log_rate, n.TYPE_RATE_MEAN, n.ATTRIBUTE_RATE, n.ATTRIBUTE_RATE_SD)
    unit = draws[n.ATTRIBUTE_DIP_SD].values  # of values' effects
    for score in (
        (dip - 0.7 - unit) / np.hypot(0.05, 0.5 * unit),
        (rate + 0.4) / 0.1,
    ):
        assert abs(score.mean()) < 5 / np.sqrt(score.size)
        assert abs(score.var() - 1) < 5 * np.sqrt(2 / score.size)


def test_that_a_group_alone_knows_it_is_said(demo: Fitted) -> None:
    known = LabelBelief(n.TYPE_LOG_DIP, NEW, Belief(0.7, 0.05))
    posterior = replace(demo.posterior, priors=GroupPriors(labels=(known,)))
    now = Athlete(with_new(demo, {}), posterior).now
    assert now.warnings == [Reason("type known by the group alone", type=NEW)]


def ahead_of(now: Standing, nights: int) -> Ahead:
    return look_ahead(now, nights, [])


def test_it_is_taken_for_a_session_like_any_other(demo: Fitted, demo_athlete: Athlete) -> None:
    now = now_with_new(demo)
    with_it, without = (ahead_of(each, 2) for each in (now, demo_athlete.now))
    logs = [(a.level - a.shown) for a in (with_it, without)]
    assert np.all(logs[0].mean(axis=0) < logs[1].mean(axis=0))
    assert np.all(logs[0].std(axis=0) > logs[1].std(axis=0))
    assert np.median(days_until_baseline(now, [])) >= 1
    assert now.warnings == [Reason("type not shown yet", type=NEW)]


def test_its_first_night_holds_back_what_that_of_others_does(demo: Fitted) -> None:
    now = now_with_new(demo, 2)
    dips = np.ones((len(now.rates), len(now.pending)))
    hidden = now.held_back(now.pending, dips, 3)
    share = 1 - now.parameter(n.FIRST_NIGHT)
    np.testing.assert_allclose(hidden, np.stack([share, share, 0 * share], axis=1))


def test_a_type_that_is_only_listed_changes_nothing(demo: Fitted, demo_athlete: Athlete) -> None:
    now = now_with_new(demo, 0)
    assert now.warnings == demo_athlete.now.warnings
    mine, theirs = ahead_of(now, 3), ahead_of(demo_athlete.now, 3)
    np.testing.assert_allclose(mine.reading, theirs.reading, rtol=1e-14)


def test_a_fit_without_any_session_draws_none(demo: Fitted) -> None:
    draws = demo.posterior.draws.drop_vars(n.TYPE_DIP_MEAN)
    assert draw_unseen(with_new(demo, {}), draws, Priors(), np.random.default_rng(4)) == {}


@pytest.mark.parametrize("label", ["easy paddle", NEW])
def test_every_event_has_a_typical_dip(demo: Fitted, label: str) -> None:
    now = now_with_new(demo)
    assert np.isfinite(now.typical_dips()[:, now.groups.index(label)]).all()
