"""Planned against done, against dips worked out by hand, and the file that plans are kept in."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from slackwater.fitting import Posterior, check_spacing, plan_spacing, standing
from slackwater.fitting.records.plans import (
    KeptPlan,
    holding,
    plan_to_keep,
    read_plans,
    with_plan,
)
from slackwater.fitting.report.as_json import as_object
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, SeasonError
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known

NIGHTS = 40
DRAWS = 400  # in each of two chains
KNOWN = Known({"hill run": (0.2, 1.0), "row": (0.1, 1.0)}, noise_sd=0.1, session_sd=0.2)
EARLY = [(2, "row"), (4, "hill run")]


def date(day: int) -> str:
    return str(FIRST + DAY * day)


def plan(
    *sessions: tuple[int, str, float],
    start: int | None = None,
    days: int = 10,
    logged: Sequence[tuple[int, str]] = (),
) -> KeptPlan:
    """Return a plan by days from the first reading's, with what it promised."""
    first = sessions[0][0] if start is None else start
    rows = [
        {"date": date(day), "type": label, "fixed": False, "chance": chance, "asked": 0.5}
        for day, label, chance in sessions
    ]
    return KeptPlan.model_validate(
        {
            "schema": 1,
            "season": "spring",
            "made_from": date(first),
            "start": date(first),
            "days": days,
            "rest": [],
            "logged": [{"date": date(day), "type": label} for day, label in logged],
            "sessions": rows,
        }
    )


def fitted(season: Season, known: Known = KNOWN, scatter: Any = 0.0, start: Any = 0.0) -> Posterior:
    """Return a posterior made by hand that also says what each logged session was."""
    post = by_hand.posterior(season, known, DRAWS)
    sessions = len(season.observed().session_nights())
    shape = (by_hand.CHAINS, DRAWS, sessions)
    flat = np.broadcast_to(np.asarray(start, float), by_hand.CHAINS * DRAWS)
    added = {
        n.SESSION_Z: ((n.CHAIN, n.DRAW, n.SESSION), np.broadcast_to(scatter, shape).copy()),
        n.START_DIP: ((n.CHAIN, n.DRAW), flat.reshape(by_hand.CHAINS, DRAWS).copy()),
        n.START_LOG_RATE: ((n.CHAIN, n.DRAW), np.zeros(shape[:2])),
    }
    draws = post.tree["posterior"].to_dataset().assign(added)
    last = post.tree["last_night"].to_dataset()
    tree = xr.DataTree.from_dict({"posterior": draws, "last_night": last})
    return replace(post, tree=tree)


def check(
    plans: Sequence[KeptPlan],
    done: Sequence[tuple[int, str]],
    known: Known = KNOWN,
    level: float = 0.8,
    **facts: Any,
) -> xr.Dataset:
    season = by_hand.season(NIGHTS, sorted([*EARLY, *done]))
    post = fitted(season, known, **facts)
    return check_spacing(standing(season, post), post, list(plans), level)


def test_on_the_day_moved_missed_and_to_come() -> None:
    planned = plan(
        (20, "hill run", 0.9), (23, "row", 0.9), (26, "hill run", 0.9), (30, "row", 0.9),
        (39, "row", 0.9), (45, "row", 0.9),
    )  # fmt: skip
    done = [(20, "hill run"), (25, "row"), (34, "row"), (22, "easy paddle")]
    known = KNOWN._replace(types={**KNOWN.types, "easy paddle": (0.01, 1.0)})
    answer = check([planned], done, known)
    assert list(answer["status"].values) == [
        "on the day", "moved", "missed", "missed", "to come", "to come",
    ]  # fmt: skip
    assert list(answer["done_on"].values) == [date(20), date(25), "", "", "", ""]
    # The plan has ten days, 20 to 29: the paddle on 22 stands beside it, the row on 34 does not.
    assert int(answer["done_beside"]) == 1


def test_a_session_stands_for_one_planned_session_only() -> None:
    """A session on a planned day is that day's, even where another could claim it as moved."""
    planned = plan((20, "row", 0.9), (22, "row", 0.9), (24, "row", 0.9))
    answer = check([planned], [(22, "row"), (23, "row")])
    assert list(answer["status"].values) == ["missed", "on the day", "moved"]
    assert list(answer["done_on"].values) == ["", date(22), date(23)]


def test_a_later_plan_replaces_what_an_earlier_one_said_of_its_days() -> None:
    first = plan((20, "row", 0.9), (24, "row", 0.9), (26, "hill run", 0.9))
    second = plan((25, "hill run", 0.7), start=23)
    held = holding([first, second])
    assert [(str(s.date), s.type, s.chance) for s in held.sessions] == [
        (date(20), "row", 0.9),
        (date(25), "hill run", 0.7),
    ]
    assert held.replaced == 2


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
    assert answer["chance_back"].values == pytest.approx(expected)
    assert 0.02 < min(expected[1:]) < max(expected[1:]) < 0.98


def test_the_share_and_its_range() -> None:
    """Ten rows five days apart are all back: Jeffreys' range of 10 in 10, no other."""
    days = [3 * i + 9 for i in range(10)]
    planned = plan(*((day, "row", 0.8) for day in days), days=40)
    rows = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.1, 0.5)})
    answer = check([planned], [(day, "row") for day in days], rows)
    assert int(answer["judged"]) == 10
    assert answer["back_count"].values == pytest.approx([10, 10, 10])
    jeffreys = stats.beta(10.5, 0.5)
    found = answer["share_back"].values
    # 16,000 shares: 4 SE of a quantile at these densities is under 0.01.
    assert found == pytest.approx(jeffreys.ppf([0.1, 0.5, 0.9]), abs=0.01)
    expected = stats.binom(10, 0.8).ppf([0.1, 0.5, 0.9])
    assert answer["promised_count"].values == pytest.approx(expected)
    assert float(answer["promised_mean"]) == pytest.approx(0.8)
    assert answer.attrs["verdict"] == "more often than promised"


@pytest.mark.parametrize(
    ("promised", "verdict"),
    [(0.6, "more often than promised"), (0.95, "as promised")],
)
def test_the_verdict_of_ten_in_ten(promised: float, verdict: str) -> None:
    days = [3 * i + 9 for i in range(10)]
    rows = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.1, 0.5)})
    planned = plan(*((day, "row", promised) for day in days), days=40)
    assert check([planned], [(d, "row") for d in days], rows).attrs["verdict"] == verdict


def test_never_back_is_less_often_than_promised_and_few_say_little() -> None:
    slow = KNOWN._replace(types={"hill run": (0.2, 1.0), "row": (0.5, 30.0)})
    days = [9, 12, 15, 18]
    done = [(day, "row") for day in days]
    answer = check([plan(*((day, "row", 0.8) for day in days))], done, slow)
    assert answer.attrs["verdict"] == "less often than promised"
    assert any("With 4 judged so far" in w for w in answer.attrs["warnings"])
    one = check([plan((9, "row", 0.8))], [(9, "row")], slow, level=0.95)
    assert one.attrs["verdict"] == "as promised"


def test_moved_sessions_are_shown_but_no_promise_was_made_of_their_morning() -> None:
    answer = check([plan((20, "row", 0.9), (25, "row", 0.9))], [(21, "row")])
    assert int(answer["judged"]) == 0
    assert float(answer["chance_back"][0]) == 1
    assert answer.attrs["verdict"] == "cannot tell"
    assert (int(answer["done"]), float(answer["done_back"].sel(bound="median"))) == (1, 1)
    assert as_object(answer)["share_back"] == {"median": None, "low": None, "high": None}


def test_a_promise_is_judged_only_where_the_plan_was_followed_until_then() -> None:
    sessions = [(20, "row", 0.9), (24, "hill run", 0.9), (30, "row", 0.9)]
    on_the_day = [(day, label) for day, label, _ in sessions]

    def judged(*others: tuple[int, str], **known: Any) -> list[bool]:
        answer = check([plan(*sessions, start=19, **known)], [*on_the_day, *others])
        assert list(answer["status"].values) == ["on the day"] * 3
        assert int(answer["judged"]) == int(answer["followed"].sum())
        assert int(answer["done"]) == 3
        return list(answer["followed"].values)

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
    answer = check_spacing(
        standing(season, post), post, [plan((20, "row", 0.9), (36, "row", 0.9), days=30)]
    )
    assert list(np.isfinite(answer["chance_back"].values)) == [True, False]
    assert int(answer["judged"]) == 1
    assert any("1 of the planned sessions done" in w for w in answer.attrs["warnings"])


def test_types_may_stand_in_another_order_in_the_files() -> None:
    """The fit's order of types is not the files' any more; the answer stays the same."""
    log = [(4, "hill run"), (20, "row"), (22, "hill run")]
    described = {"row": {"mode": "a"}, "hill run": {"mode": "a"}}
    season = by_hand.season(NIGHTS, log, attributes=described)
    post = fitted(season, KNOWN._replace(types={"row": (0.1, 1.0), "hill run": (0.5, 3.0)}))
    plans = [plan((20, "row", 0.9), (22, "hill run", 0.9))]
    turned = by_hand.season(NIGHTS, log, attributes=dict(reversed(described.items())))
    assert turned.types != season.types
    first, second = (check_spacing(standing(s, post), post, plans) for s in (season, turned))
    assert list(first["chance_back"].values) == list(second["chance_back"].values)


def test_nothing_kept_is_said() -> None:
    with pytest.raises(NoAnswerError, match="No plan was kept"):
        check([], [])


def test_what_is_kept_can_be_read_again_and_is_only_added_to() -> None:
    season = by_hand.season(NIGHTS, EARLY)
    answer = plan_spacing(by_hand.standing_of(season, KNOWN), {"row": 2}, fixed={date(45): "row"})
    kept = plan_to_keep(answer)
    assert [str(s.date) for s in kept.sessions] == [s["date"] for s in answer.attrs["sessions"]]
    assert [s.fixed for s in kept.sessions] == [False, True]
    text = with_plan([], kept)
    assert read_plans(text.encode(), "plans.json") == [kept]
    assert with_plan([kept], kept) == text
    other = plan((50, "row", 0.9))
    both = with_plan([kept], other)
    assert json.loads(both)[0] == json.loads(text)[0]
    assert read_plans(both.encode(), "plans.json") == [kept, other]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("nonsense", r"plans\.json: not a list of plans.*mend it, or move"),
        ('{"schema": 1}', "not a list of plans"),
        ('[{"schema": 1}]', "at plan 1, 'season'"),
        ("\xff", "not a list of plans"),
    ],
)
def test_a_file_that_holds_no_plans(content: str, said: str) -> None:
    with pytest.raises(SeasonError, match=said):
        read_plans(content.encode("latin-1"), "plans.json")


@pytest.mark.parametrize(
    ("key", "value"),
    [("schema", 2), ("days", 0), ("sessions", []), ("start", "soon"), ("extra", 1)],
)
def test_a_plan_that_is_not_one(key: str, value: object, tmp_path: Path) -> None:
    row = json.loads(with_plan([], plan((20, "row", 0.9))))[0]
    with pytest.raises(SeasonError, match=f"at plan 1, '{key}'"):
        read_plans(json.dumps([row | {key: value}]).encode(), str(tmp_path / "plans.json"))
