"""Days to recover, against what can be worked out on paper."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting import Athlete, recovery
from slackwater.fitting.answers.recovery import (
    LONGEST_SHOWN,
    Recovery,
    next_session_days,
    typical_days,
)
from slackwater.model.errors import NoAnswerError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

OFTEN = [(day, kind) for day in range(0, 24, 6) for kind in ("row", "lift")]
ALONE = [(day + (kind == "lift"), kind) for day, kind in OFTEN]


def athlete_of(known: Known, sessions: by_hand.Dated = tuple(ALONE), draws: int = 500) -> Athlete:
    return by_hand.athlete_of(by_hand.season(30, sessions), known, draws)


def test_the_worked_example_of_a_halving_dip() -> None:
    # A dip of 0.20 with a half-life of 1 day falls to 0.05 in 2 days: two halvings, t = ln(A /
    # delta) / k (Rowland & Tozer, Clinical Pharmacokinetics; arithmetic). One more day passes
    # before the first reading can show the session. The threshold is half of 0.10.
    known = Known({"row": (0.20, 1.0), "lift": (0.20, 2.0)}, noise_sd=0.10)
    answer = recovery(athlete_of(known))
    assert answer.types["typical_days"].sel(type="row").values == pytest.approx([3.0] * 3)
    assert answer.types["typical_days"].sel(type="lift").values == pytest.approx([5.0] * 3)
    assert answer.types["half_life_days"].sel(type="lift").values == pytest.approx([2.0] * 3)
    # A dip of 0.20 ln takes 18.1269 % off RMSSD (arithmetic).
    dips = answer.types["dip_ln"].sel(type="row")
    assert 100 * -np.expm1(-dips.values) == pytest.approx([18.1269] * 3, abs=5e-5)


def test_the_threshold_is_half_the_night_to_night_sd() -> None:
    # Half of the individual SD of ln RMSSD as the smallest change worth acting on: Plews et al.
    # 2013, Buchheit 2014 (Front Physiol 5:73), from memory. SD 0.12 gives 0.06 ln, which is
    # 6.18 % of RMSSD upwards (arithmetic); the dip to the same line lies downwards, 5.82 %.
    answer = recovery(athlete_of(Known({"row": (0.2, 1.0), "lift": (0.2, 1.0)}, noise_sd=0.12)))
    threshold = answer.threshold.ln_units
    assert threshold == pytest.approx(0.06)
    assert 100 * np.expm1(threshold) == pytest.approx(6.18, abs=0.005)
    assert answer.threshold.percent == pytest.approx(5.82, abs=0.005)


def test_bad_nights_do_not_move_the_threshold() -> None:
    for tail in (0.01, 2.0):
        known = Known({"row": (0.2, 1.0), "lift": (0.2, 1.0)}, noise_sd=0.1, noise_tail=tail)
        assert recovery(athlete_of(known)).threshold.ln_units == pytest.approx(0.05)


def test_nothing_recovers_in_less_than_a_day() -> None:
    answer = recovery(athlete_of(Known({"row": (0.01, 0.1), "lift": (0.2, 1.0)}, session_sd=1e-9)))
    assert np.all(answer.types["typical_days"].sel(type="row") == 1.0)
    assert np.all(answer.types["next_session_days"].sel(type="row") == 1.0)
    assert float(answer.types["chance_by_day"].sel(type="row", day=1)) == 1.0


def test_each_draw_is_answered_with_its_own_dip_rate_and_threshold() -> None:
    rng = np.random.default_rng(5)
    draws = 200
    size = by_hand.CHAINS * draws
    dip, half_life = (np.array(rng.uniform(*ends, (2, size))) for ends in ((0.1, 0.4), (0.5, 3.0)))
    noise = rng.uniform(0.06, 0.2, size)
    known = Known({t: (dip[i], half_life[i]) for i, t in enumerate(["row", "lift"])})
    athlete = athlete_of(known._replace(noise_sd=noise), draws=draws)
    expected = 1 + np.maximum(0, np.log2(dip / (noise / 2)) * half_life)
    np.testing.assert_allclose(typical_days(athlete.now), expected.T)
    answer = recovery(athlete, level=0.6)
    for i, name in enumerate(["row", "lift"]):
        low, median, high = answer.types["typical_days"].sel(type=name).values
        assert [low, median, high] == pytest.approx(np.quantile(expected[i], [0.2, 0.5, 0.8]))


@pytest.mark.parametrize("share", [0.5, 1.0, 2.0])
def test_what_the_first_night_holds_back_takes_days_too(share: float) -> None:
    # The first night shows 0.2; the dip that decays is 0.2 / share, that is log2(4 / share)
    # half-lives above the threshold of 0.05.
    known = Known({"row": (0.2, 1.0), "lift": (0.2, 2.0)}, first_night=share, session_sd=1e-9)
    answer = recovery(athlete_of(known))
    for name, half_life in (("row", 1.0), ("lift", 2.0)):
        days = 1 + np.log2(4 / share) * half_life
        assert answer.types["typical_days"].sel(type=name).values == pytest.approx([days] * 3)
        assert answer.types["next_session_days"].sel(type=name).values == pytest.approx([days] * 3)
    assert answer.types["dip_ln"].sel(type="row").values == pytest.approx([0.2] * 3)


def test_the_next_session_scatters_around_the_typical_one() -> None:
    # ln dip ~ Normal(ln 0.2, 0.3), so days - 1 is normal where it is above 0: mean 2 half-lives
    # of 1 day, SD 0.3 / ln 2.
    draws = 10_000
    athlete = athlete_of(
        Known({"row": (0.2, 1.0), "lift": (0.2, 1.0)}, session_sd=0.3), draws=draws
    )
    days = next_session_days(athlete.now)
    law = stats.norm(3.0, 0.3 / np.log(2))
    assert float(law.cdf(1.0)) < 1e-5  # so the floor at 1 day plays no part
    for column in days.T:
        # Kolmogorov-Smirnov; 1e-4 is how often this would fail by chance.
        assert stats.kstest(column, law.cdf).pvalue > 1e-4
    spread = np.diff(recovery(athlete).types["next_session_days"].sel(bound=["low", "high"]))
    assert np.all(spread > 0)
    typical = np.diff(recovery(athlete).types["typical_days"].sel(bound=["low", "high"]))
    assert np.all(typical == 0)  # knowledge is complete, only the sessions differ


def test_two_types_next_sessions_scatter_apart() -> None:
    days = next_session_days(
        athlete_of(Known({"row": (0.2, 1.0), "lift": (0.2, 1.0)}), draws=5000).now
    )
    # Within 5 standard errors of no correlation (two-sided 6e-7).
    assert abs(stats.pearsonr(*days.T).statistic) < 5 / np.sqrt(len(days))


def chances(answer: Recovery, name: str) -> dict[int, float]:
    row = answer.types["chance_by_day"].sel(type=name)
    return {int(day): float(share) for day, share in zip(row["day"], row, strict=True)}


def test_the_chance_by_each_day_is_the_share_of_next_sessions_recovered() -> None:
    athlete = athlete_of(Known({"row": (0.2, 1.5), "lift": (0.1, 1.0)}, session_sd=0.6), draws=2000)
    answer = recovery(athlete)
    days = next_session_days(athlete.now)
    for column, name in enumerate(["row", "lift"]):
        by_day = chances(answer, name)
        assert by_day == {d: (days[:, column] <= d).mean() for d in by_day}
        shares = list(by_day.values())
        assert list(by_day) == list(range(1, len(by_day) + 1))
        assert shares == sorted(shares)


def test_days_for_a_chance_are_the_first_by_which_so_many_are_recovered() -> None:
    athlete = athlete_of(Known({"row": (0.2, 1.5), "lift": (0.1, 1.0)}, session_sd=0.6), draws=2000)
    answer = recovery(athlete)
    for name in ("row", "lift"):
        by_day = chances(answer, name)
        for chance in (0.5, 0.8, 0.9):
            day = int(answer.types["days_for_chance"].sel(type=name, chance=chance))
            assert day == min(d for d, share in by_day.items() if share >= chance)


def test_days_beyond_the_longest_shown_are_left_open() -> None:
    answer = recovery(athlete_of(Known({"row": (0.4, 30.0), "lift": (0.1, 1.0)})))
    assert answer.types.sizes["day"] == LONGEST_SHOWN
    assert np.isnan(answer.types["days_for_chance"].sel(type="row")).all()
    assert chances(answer, "row")[LONGEST_SHOWN] < 0.5


def test_the_days_shown_reach_to_where_every_type_is_recovered() -> None:
    quick = recovery(athlete_of(Known({"row": (0.1, 0.5), "lift": (0.1, 0.5)})))
    assert quick.types.sizes["day"] == 7
    slow = recovery(athlete_of(Known({"row": (0.3, 3.0), "lift": (0.1, 0.5)}, session_sd=0.3)))
    assert 7 < slow.types.sizes["day"] < LONGEST_SHOWN
    last_but_one, last = list(chances(slow, "row").values())[-2:]
    assert last_but_one < 0.95 <= last


def test_types_always_trained_on_the_same_days_are_refused() -> None:
    known = Known({"row": (0.2, 1.0), "lift": (0.1, 1.0), "run": (0.1, 1.0)})
    answer = recovery(athlete_of(known, [*OFTEN, (3, "run"), (9, "run")]))
    assert list(answer.types["type"].values) == ["run"]
    why = Reason("always the same days", types=["lift", "row"])
    assert {row.type: row.why for row in answer.refused} == {"row": why, "lift": why}
    assert answer.about.warnings.count(why) == 1


def test_one_session_on_a_day_of_its_own_tells_types_apart() -> None:
    known = Known({"row": (0.2, 1.0), "lift": (0.1, 1.0)})
    answer = recovery(athlete_of(known, [*OFTEN, (26, "row")]))
    assert set(answer.types["type"].values) == {"row", "lift"}
    assert answer.refused == ()


def test_there_is_no_answer_where_all_types_are_confounded() -> None:
    known = Known({"row": (0.2, 1.0), "lift": (0.1, 1.0)})
    with pytest.raises(NoAnswerError) as caught:
        recovery(athlete_of(known, OFTEN))
    assert caught.value.reasons == (Reason("always the same days", types=["lift", "row"]),)


@pytest.mark.parametrize(
    ("times", "few"), [(1, True), (2, True), (3, True), (4, False), (5, False)]
)
def test_a_type_trained_only_a_few_times_is_warned_of(times: int, few: bool) -> None:
    sessions = [(2 * day + 1, "row") for day in range(times)]
    known = Known({"row": (0.2, 1.0), "lift": (0.1, 1.0)})
    lifts = [(2 * day, "lift") for day in range(6)]
    answer = recovery(athlete_of(known, [*sessions, *lifts]))
    assert int(answer.types["sessions"].sel(type="row")) == times
    expected = Reason("trained a few times", type="row", sessions=times)
    assert answer.about.warnings == ((expected,) if few else ())


def test_sessions_that_no_reading_shows_yet_are_not_counted() -> None:
    known = Known({"row": (0.2, 1.0), "lift": (0.1, 1.0)})
    answer = recovery(athlete_of(known, [*ALONE, (28, "row"), (29, "row"), (35, "row")]))
    assert int(answer.types["sessions"].sel(type="row")) == 5


def test_without_any_session_there_is_nothing_to_learn_from() -> None:
    with pytest.raises(NoAnswerError) as caught:
        recovery(athlete_of(Known(), []))
    assert caught.value.reasons == (Reason("no session shown"),)
