"""Planned against done, against dips worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from slackwater.fitting import Athlete, Posterior, check_spacing
from slackwater.fitting.records.plans import KeptPlan
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.spacing.check import SpacingCheck
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.records.by_hand import date, plan

NIGHTS = 40
DRAWS = 400  # in each of two chains
KNOWN = Known({"hill run": (0.2, 1.0), "row": (0.1, 1.0)}, noise_sd=0.1, session_sd=0.2)
EARLY = [(2, "row"), (4, "hill run")]


def fitted(season: Season, known: Known = KNOWN, scatter: Any = 0.0, start: Any = 0.0) -> Posterior:
    """Return a posterior made by hand that also says what each logged session was."""
    post = whole_posterior(season, known, DRAWS, scatter)
    size = (by_hand.CHAINS, DRAWS)
    flat = np.broadcast_to(np.asarray(start, float), by_hand.CHAINS * DRAWS)
    own = {
        n.START_DIP: ((n.CHAIN, n.DRAW), flat.reshape(size).copy()),
        n.START_LOG_RATE: ((n.CHAIN, n.DRAW), np.zeros(size)),
    }
    tree = post.tree.copy()
    tree["posterior"] = xr.DataTree(tree["posterior"].to_dataset().assign(own))
    return replace(post, tree=tree)


def check(
    plans: Sequence[KeptPlan],
    done: Sequence[tuple[int, str]],
    known: Known = KNOWN,
    level: float = 0.8,
    **facts: Any,
) -> SpacingCheck:
    season = by_hand.season(NIGHTS, sorted([*EARLY, *done]))
    return check_spacing(Athlete(season, fitted(season, known, **facts), plans=plans), level)


def status(answer: SpacingCheck) -> list[str]:
    return [row.status for row in answer.planned]


def done_on(answer: SpacingCheck) -> list[str]:
    return [str(row.done_on or "") for row in answer.planned]


def test_on_the_day_moved_missed_and_to_come() -> None:
    planned = plan(
        (20, "hill run", 0.9), (23, "row", 0.9), (26, "hill run", 0.9), (30, "row", 0.9),
        (39, "row", 0.9), (45, "row", 0.9),
    )  # fmt: skip
    done = [(20, "hill run"), (25, "row"), (34, "row"), (22, "easy paddle")]
    known = KNOWN._replace(types={**KNOWN.types, "easy paddle": (0.01, 1.0)})
    answer = check([planned], done, known)
    assert status(answer) == [
        "on the day", "moved", "missed", "missed", "to come", "to come",
    ]  # fmt: skip
    assert answer.counts == {"on the day": 1, "moved": 1, "missed": 2, "to come": 2}
    assert done_on(answer) == [date(20), date(25), "", "", "", ""]
    # The plan has ten days, 20 to 29: the paddle on 22 stands beside it, the row on 34 does not.
    assert answer.done_beside == 1


def test_a_session_stands_for_one_planned_session_only() -> None:
    """A session on a planned day is that day's, even where another could claim it as moved."""
    planned = plan((20, "row", 0.9), (22, "row", 0.9), (24, "row", 0.9))
    answer = check([planned], [(22, "row"), (23, "row")])
    assert status(answer) == ["missed", "on the day", "moved"]
    assert done_on(answer) == ["", date(22), date(23)]


def test_the_chance_of_having_been_back_is_that_of_the_fitted_dips() -> None:
    """Night by night from the start dip and each session's own scatter, for each draw."""
    rng = np.random.default_rng(3)
    done = [(20, "hill run"), (23, "row"), (25, "hill run")]
    scatter = rng.standard_normal((by_hand.CHAINS, DRAWS, 5))
    start = rng.uniform(0, 0.3, by_hand.CHAINS * DRAWS)
    answer = check(
        [plan((20, "hill run", 0.9), (23, "row", 0.9), (25, "hill run", 0.9))],
        done,
        scatter=scatter,
        start=start,
    )
    z = scatter.reshape(-1, 5)
    dip = start.copy()
    halving, slow = 0.5, np.exp(-1.0)  # half-life 1 day; the start's rate is 1 a day
    rest, sessions = np.zeros_like(dip), sorted([*EARLY, *done])
    expected = []
    for night in range(26):
        if night:
            dip, rest = dip * slow, rest * halving
        for i, (day, label) in enumerate(sessions):
            if day + 1 == night:
                rest = rest + {"hill run": 0.2, "row": 0.1}[label] * np.exp(0.2 * z[:, i])
        if night in (20, 23, 25):
            expected.append(float((dip + rest <= 0.05).mean()))
    assert [row.chance_back for row in answer.planned] == pytest.approx(expected)
    assert 0.02 < min(expected[1:]) < max(expected[1:]) < 0.98


def test_the_share_and_its_range() -> None:
    """Ten rows five days apart are all back: Jeffreys' range of 10 in 10, no other."""
    days = [3 * i + 9 for i in range(10)]
    planned = plan(*((day, "row", 0.8) for day in days), days=40)
    rows = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.1, 0.5)})
    answer = check([planned], [(day, "row") for day in days], rows)
    assert answer.judged == 10
    assert answer.back_count == pytest.approx([10, 10, 10])
    jeffreys = stats.beta(10.5, 0.5)
    # 16,000 shares: 4 SE of a quantile at these densities is under 0.01.
    assert answer.share_back == pytest.approx(jeffreys.ppf([0.1, 0.5, 0.9]), abs=0.01)
    expected = stats.binom(10, 0.8).ppf([0.1, 0.5, 0.9])
    assert answer.promised_count == pytest.approx(expected)
    assert answer.promised_mean == pytest.approx(0.8)
    assert answer.verdict == "more often than promised"


@pytest.mark.parametrize(
    ("promised", "verdict"),
    [(0.6, "more often than promised"), (0.95, "as promised")],
)
def test_the_verdict_of_ten_in_ten(promised: float, verdict: str) -> None:
    days = [3 * i + 9 for i in range(10)]
    rows = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.1, 0.5)})
    planned = plan(*((day, "row", promised) for day in days), days=40)
    assert check([planned], [(d, "row") for d in days], rows).verdict == verdict


def test_readings_off_what_was_foretold_are_told_where_dips_cannot_show_them() -> None:
    """A slow part that the model does not have holds readings down on the mornings promised."""
    days = range(10, 38, 4)
    planned = plan(*((day, "row", 0.9) for day in days), days=40)
    season = by_hand.season(NIGHTS, sorted([*EARLY, *((d, "row") for d in days)]))
    level = np.full(NIGHTS, 4.0)
    level[list(days)] -= 0.05
    moved = season.with_readings(level)
    found = check_spacing(Athlete(moved, fitted(moved), plans=[planned]))
    plain = check_spacing(Athlete(season, fitted(season), plans=[planned]))
    lower = plain.readings_off_percent.median - found.readings_off_percent.median
    assert lower == pytest.approx(4.0, abs=1.0)  # of 5 %; baseline takes up the rest
    assert found.share_back == plain.share_back
    assert found.verdict == plain.verdict
    few = check([plan((20, "row", 0.9))], [(20, "row")])
    assert np.isnan(few.readings_off_percent.median)


def test_never_back_is_less_often_than_promised_and_few_say_little() -> None:
    slow = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.5, 30.0)})
    days = [9, 12, 15, 18]
    done = [(day, "row") for day in days]
    answer = check([plan(*((day, "row", 0.8) for day in days))], done, slow)
    assert answer.verdict == "less often than promised"
    assert answer.about.warnings == (Reason("few promises judged", judged=4, enough=10),)
    one = check([plan((9, "row", 0.8))], [(9, "row")], slow, level=0.95)
    assert one.verdict == "as promised"


def test_moved_sessions_are_shown_but_no_promise_was_made_of_their_morning() -> None:
    answer = check([plan((20, "row", 0.9), (25, "row", 0.9))], [(21, "row")])
    assert answer.judged == 0
    assert answer.planned[0].chance_back == 1
    assert answer.verdict == "cannot tell"
    assert (answer.done, answer.done_back.median) == (1, 1)
    assert answer.promised_mean is None
    assert as_object(answer)["share_back"] == {"median": None, "low": None, "high": None}


def test_a_promise_is_judged_only_where_the_plan_was_followed_until_then() -> None:
    sessions = [(20, "row", 0.9), (24, "hill run", 0.9), (30, "row", 0.9)]
    on_the_day = [(day, label) for day, label, _ in sessions]

    def judged(*others: tuple[int, str], **known: Any) -> list[bool]:
        answer = check([plan(*sessions, start=19, **known)], [*on_the_day, *others])
        assert status(answer) == ["on the day"] * 3
        assert answer.judged == sum(row.followed for row in answer.planned)
        assert answer.done == 3
        return [row.followed for row in answer.planned]

    assert judged() == [True, True, True]
    assert judged((18, "row")) == [True, True, True]  # before the plan was made
    assert judged((19, "row")) == [False, False, False]
    assert judged((19, "row"), logged=[(19, "row")]) == [True, True, True]
    assert judged((24, "row")) == [True, True, False]  # felt after that morning
    assert judged((31, "row")) == [True, True, True]
    assert judged(logged=[(22, "row")]) == [True, False, False]  # logged ahead, and not done


def test_sessions_after_the_last_fitted_reading_wait_for_a_fit() -> None:
    season = by_hand.season(NIGHTS, [*EARLY, (20, "row"), (36, "row")])
    post = fitted(season.through(FIRST + DAY * 30))
    plans = [plan((20, "row", 0.9), (36, "row", 0.9), days=30)]
    answer = check_spacing(Athlete(season, post, plans=plans))
    assert [row.chance_back is not None for row in answer.planned] == [True, False]
    assert answer.judged == 1
    assert Reason("done after the fit", count=1, last_night=date(30)) in answer.about.warnings


def test_types_may_stand_in_another_order_in_the_files() -> None:
    """The fit's order of types is not the files' any more; the answer stays the same."""
    log = [(4, "hill run"), (20, "row"), (22, "hill run")]
    described = {"row": {"mode": "a"}, "hill run": {"mode": "a"}}
    season = by_hand.season(NIGHTS, log, attributes=described)
    post = fitted(season, KNOWN._replace(types={"row": (0.1, 1.0), "hill run": (0.5, 3.0)}))
    plans = [plan((20, "row", 0.9), (22, "hill run", 0.9))]
    turned = by_hand.season(NIGHTS, log, attributes=dict(reversed(described.items())))
    assert turned.types != season.types
    first, second = (check_spacing(Athlete(s, post, plans=plans)) for s in (season, turned))
    assert first.planned == second.planned


def test_nothing_kept_is_said() -> None:
    with pytest.raises(NoAnswerError) as error:
        check([], [])
    assert error.value.reasons == (Reason("no plan kept"),)


def test_the_json_object_holds_the_same() -> None:
    answer = check([plan((20, "row", 0.9), (30, "row", 0.8))], [(20, "row")])
    found = as_object(answer)
    assert found["planned"][1] == {
        "date": date(30),
        "type": "row",
        "promised": 0.8,
        "status": "missed",
        "done_on": None,
        "followed": True,
        "chance_back": None,
    }
    assert found["counts"] == {"on the day": 1, "moved": 0, "missed": 1, "to come": 0}
    assert (found["plans"], found["replaced"], found["promised_mean"]) == (1, 0, 0.9)
    assert found["moved_rule"].startswith("moved: another session of the type")
