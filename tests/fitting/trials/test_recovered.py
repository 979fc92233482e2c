"""What recovered days cost a trial and buy, against a season solved another way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from slackwater.fitting.trials.plan import Wanted
from slackwater.fitting.trials.recovered import REST_DAYS, bought, rate_sd, recovered_after
from slackwater.fitting.trials.rehearsal import Rehearsal
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, Season
from slackwater.model.simulator import Impulse, Truth, plan_season
from tests.fitting.trials import test_plan
from tests.fitting.trials.by_hand import MEASURE
from tests.fitting.trials.test_plan import Runner, ask, athlete

WIDE = replace(
    Priors(), log_rate_ratio=Belief(0.0, 1e3), lift=Belief(0.0, 1e3), type_dip=Belief(-2.0, 1e3),
    type_rate=Belief(-0.6, 1e3),
)  # fmt: skip
TRUTH = Truth(
    60.0, {"row": Impulse(0.3, 1.5)}, noise_sd=0.1, noise_tail=1e-9, drift_sd=1e-9,
    session_sd=1e-9, rate_ratios={MEASURE: 1.0},
)  # fmt: skip


def rowed(used: list[int], nights: int = 60) -> Season:
    first = np.datetime64("2031-03-01")

    def dates(days: list[int]) -> pd.DatetimeIndex:
        return pd.DatetimeIndex(first + DAY * np.array(days))

    sessions = pd.DataFrame({"date": dates(list(range(2, 60, 5))), "type": "row"})
    measures = pd.DataFrame({"date": dates(used), "intervention": MEASURE})
    return plan_season(
        "plan", pd.DataFrame({"date": dates(list(range(nights)))}), sessions, None, measures
    ).observed()


USED = [d + k for d in range(2, 55, 10) for k in range(5)]


def test_the_rate_is_known_as_by_least_squares_where_nights_are_independent() -> None:
    """statsmodels' OLS of the slopes worked out by differences, baseline a column of its own."""
    season = rowed(USED)

    def path(log_ratio: float, lift: float, log_dip: float, log_rate: float) -> np.ndarray:
        speed = np.ones(60)
        on = np.zeros(60)
        for d in USED:
            speed[d + 1] *= np.exp(log_ratio)
            on[d + 1] = lift
        dip, out = 0.0, []
        for night in range(60):
            dip *= np.exp(-np.log(2) / 1.5 * np.exp(log_rate) * speed[night])
            dip += 0.3 * np.exp(log_dip) * ((night - 3) % 5 == 0 and night >= 3)
            out.append(on[night] - dip)
        return np.array(out)

    step = 1e-5
    unit = np.eye(4) * step
    slopes = np.array([(path(*u) - path(*-u)) / (2 * step) for u in unit]).T
    fitted = sm.OLS(np.zeros(60), sm.add_constant(slopes))
    expected = 0.1 * np.sqrt(np.linalg.inv(fitted.exog.T @ fitted.exog)[1, 1])
    # Baseline has a prior of 1 ln here, which tells next to nothing.
    assert rate_sd(season, TRUTH, MEASURE, WIDE) == pytest.approx(expected, rel=0.01)


def test_nights_with_nothing_to_recover_from_tell_the_lift() -> None:
    longer = rowed([*USED, *range(70, 90, 2)], nights=90)
    without = rowed(USED, nights=90)
    tight = replace(Priors(), lift=Belief(0.0, 1e-9))
    known = rate_sd(longer, TRUTH, MEASURE, tight)
    unknown = rate_sd(longer, TRUTH, MEASURE, Priors())
    assert known < unknown < rate_sd(without, TRUTH, MEASURE, Priors())


def one(answer_size: int) -> Rehearsal:
    run = Runner()
    ask(Wanted(MEASURE, 5, smallest=1.0, sessions=answer_size), run)
    return run.tasks[20]


def test_recovered_days_cost_no_night_and_never_make_the_rate_known_less() -> None:
    found = bought(one(8))
    assert found.rate_sd <= found.rate_sd_without * 1.02
    assert found.rate_sd_rested < found.rate_sd
    assert found.rate_sd_trained < found.rate_sd
    assert found.rest_days == REST_DAYS
    assert found.after == {"row": 7, "lift": 4}


def test_a_trial_that_takes_years_has_no_figures() -> None:
    task = one(8)
    assert np.isnan(bought(replace(task, sessions_per_arm=2000)).rate_sd)


def test_a_type_of_that_name_leaves_no_name_for_such_days() -> None:
    odd = athlete([(3 * k, "recovered day") for k in range(18)],
                  types={"recovered day": (0.4, 2.0)})  # fmt: skip
    assert recovered_after(odd.now, ["recovered day"]) == {}
    assert recovered_after(test_plan.athlete().now, ["row"]) == {"row": 7}
