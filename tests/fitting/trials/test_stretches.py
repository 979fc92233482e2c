"""A trial followed through a season: stretches, what counts, what was assigned and used."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting.records.lots import RECOVERED, arm_of
from slackwater.fitting.trials.randomisation import pairs_of
from slackwater.fitting.trials.stretches import (
    Stretch,
    assigned,
    assigned_days,
    counted,
    logged_days,
    planned_part,
    stretches_of,
    trial_season,
)
from slackwater.model import names as n
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.trials.by_hand import MEASURE, SEED, day, plan, season

SESSIONS = [(0, "row"), (3, "lift"), (6, "row"), (8, "lift"), (12, "row"), (22, "row")]


def stretches(made: Season, start: int = 0) -> list[Stretch]:
    return stretches_of(made, assigned(plan(start)))


def numbers(days: np.ndarray) -> list[int]:
    return [int((d - day(0)) / np.timedelta64(1, "D")) for d in days]


def test_a_stretch_lasts_until_the_day_before_the_next_session_and_at_most_a_week() -> None:
    found = stretches(season(40, SESSIONS))
    assert [numbers(s.days) for s in found] == [
        [0, 1, 2],
        [3, 4, 5],
        [6, 7],
        [8, 9, 10, 11],
        [12, 13, 14, 15, 16, 17, 18],
        [22, 23, 24, 25, 26, 27, 28],
    ]
    assert [s.label for s in found] == ["row", "lift", "row", "lift", "row", "row"]


def test_each_type_draws_its_own_lots_in_order() -> None:
    found = stretches(season(40, SESSIONS))
    assert [(s.label, s.number, s.arm) for s in found] == [
        ("row", 0, "without"),
        ("lift", 0, "with"),
        ("row", 1, "with"),
        ("lift", 1, "without"),
        ("row", 2, "with"),
        ("row", 3, "without"),
    ]


def test_the_mornings_that_can_show_a_measure() -> None:
    # A measure on day d works on the step into the morning of d + 1, so after a session on
    # day 0, whose dip is first felt on morning 1, the first difference shows on morning 2. The
    # next session's dip is first felt on the morning after its day.
    found = stretches(season(40, SESSIONS))
    assert [numbers(s.mornings) for s in found] == [
        [2, 3],
        [5, 6],
        [8],
        [10, 11, 12],
        [14, 15, 16],
        [24, 25, 26],
    ]
    assert all(s.over and s.counts for s in found)


def test_mornings_not_read_are_left_out_and_without_one_a_stretch_does_not_count() -> None:
    readings = np.full(40, 4.0)
    readings[[2, 8, 15]] = np.nan
    found = stretches(season(40, SESSIONS, readings=readings.tolist()))
    assert [numbers(s.mornings) for s in found[:5]] == [[3], [5, 6], [], [10, 11, 12], [14, 16]]
    assert [s.counts for s in found] == [True, True, False, True, True, True]


def test_training_the_next_day_leaves_nothing_to_see() -> None:
    first, second = stretches(season(40, [(0, "row"), (1, "lift")]))
    assert numbers(first.days) == [0]
    assert not first.counts
    assert second.counts


def test_a_stretch_counts_once_its_last_morning_is_past() -> None:
    for nights, over in ((25, False), (26, False), (27, True)):
        *_, last = stretches(season(nights, SESSIONS))
        assert (last.over, last.counts) == (over, over)


def test_other_types_and_earlier_sessions_do_not_belong() -> None:
    sessions = [*SESSIONS, (1, "walk"), (7, "walk")]
    found = stretches(season(40, sessions), start=6)
    assert [(numbers(s.days[:1])[0], s.number, s.arm) for s in found] == [
        (6, 0, "without"),
        (8, 0, "with"),
        (12, 1, "with"),
        (22, 2, "with"),
    ]


def test_two_sessions_on_one_day_are_one_stretch_of_the_type_listed_first() -> None:
    found = stretches(season(40, [(0, "lift"), (0, "row"), (4, "lift")]))
    assert [(s.label, s.number) for s in found] == [("row", 0), ("lift", 0)]


def test_a_stressor_marks_its_stretch() -> None:
    made = season(40, SESSIONS, stressors=[(4, "cold"), (19, "late night"), (23, "cold")])
    found = stretches(made)
    assert [s.stressors for s in found] == [(), ("cold",), (), (), (), ("cold",)]
    assert [s.counts for s in found] == [True, False, True, True, True, False]
    assert counted(found) == {"with": 2, "without": 2}


def test_the_trial_ends_with_the_session_that_completes_the_smaller_arm() -> None:
    found = stretches(season(40, SESSIONS))
    for per_arm, length in ((1, 2), (2, 4), (3, 6)):
        part = planned_part(found, per_arm)
        assert part == found[:length]
    assert planned_part(found, 4) is None


def test_use_before_the_trial_is_kept_apart() -> None:
    made = season(40, SESSIONS, used=[0, 1, 2, 8, 9, 30])
    later = stretches(made, start=6)
    used = trial_season(made, MEASURE, later, as_assigned=False)
    assert numbers(logged_days(used, MEASURE)) == [8, 9]  # day 30 lies after the last stretch
    assert numbers(logged_days(used, "ice bath (outside the trial)")) == [0, 1, 2]
    assert used.last_night == later[-1].end == day(26)


def test_as_assigned_the_measure_is_on_just_the_days_of_its_arm() -> None:
    made = season(40, SESSIONS, used=[0, 3, 5])  # 0 strays; 4, 6, 7 and 12 to 18 are missed
    found = stretches(made)
    by_lot = trial_season(made, MEASURE, found, as_assigned=True)
    assert numbers(logged_days(by_lot, MEASURE)) == [3, 4, 5, 6, 7, *range(12, 19)]
    assert numbers(assigned_days(found, "with")) == [3, 4, 5, 6, 7, *range(12, 19)]
    as_used = trial_season(made, MEASURE, found, as_assigned=False)
    assert numbers(logged_days(as_used, MEASURE)) == [0, 3, 5]
    for each in (by_lot, as_used):
        read = each.data[n.LOG_RMSSD].values
        assert np.array_equal(read, made.data[n.LOG_RMSSD].values[: len(read)])


@pytest.mark.parametrize("used", [[], [3, 4, 5]])
def test_other_measures_stay_as_they_are(used: list[int]) -> None:
    applied = [(d, MEASURE) for d in used] + [(2, "nap"), (30, "nap")]
    made = by_hand.season(40, SESSIONS, interventions=applied)
    kept = trial_season(made, MEASURE, stretches(made), as_assigned=True)
    assert numbers(logged_days(kept, "nap")) == [2]


# Recovered days.

AFTER = {"row": 6, "lift": 4}


def drawn(made: Season, until: int | None = None) -> list[Stretch]:
    its = assigned(plan(recovered_after=AFTER))
    return stretches_of(made, its, None if until is None else day(until))


def test_days_on_which_all_is_recovered_from_are_drawn_one_by_one() -> None:
    found = drawn(season(40, SESSIONS))
    sessions = [s for s in found if not s.recovered]
    # The row of day 6 is not recovered from before day 12, that of 12 by 18, of 22 by 28.
    assert [numbers(s.days) for s in sessions] == [
        [0, 1, 2],
        [3, 4, 5],
        [6, 7],
        [8, 9, 10, 11],
        [12, 13, 14, 15, 16, 17],
        [22, 23, 24, 25, 26, 27],
    ]
    alone = [s for s in found if s.recovered]
    assert [numbers(s.days) for s in alone] == [[d] for d in [18, 19, 20, 21, *range(28, 40)]]
    lots = [arm_of(SEED, RECOVERED, k) for k in range(len(alone))]
    assert [s.arm for s in alone] == lots
    assert {s.arm for s in alone[:2]} == {"with", "without"}  # a pair
    # Sessions' own lots are what they are without such days.
    assert [(s.label, s.arm) for s in sessions] == [
        (s.label, s.arm) for s in stretches(season(40, SESSIONS))
    ]


def test_a_recovered_day_tells_by_the_morning_after_it_and_ends_no_trial() -> None:
    found = drawn(season(40, SESSIONS))
    first, *_, last = [s for s in found if s.recovered]
    assert numbers(first.mornings) == [19]
    assert (first.counts, last.counts) == (True, False)  # the morning after the last is to come
    assert counted(found) == counted(stretches(season(40, SESSIONS)))
    read = counted(found, recovered=True)
    assert read["with"] + read["without"] == 15
    part = planned_part(found, 2)
    assert part is not None
    assert not part[-1].recovered


def test_recovered_days_are_told_up_to_the_day_asked_about() -> None:
    made = season(40, SESSIONS)
    between = [s for s in drawn(made, 20) if s.recovered]
    assert [numbers(s.days) for s in between] == [[18], [19], [20]]
    coming = [s for s in drawn(made, 42) if s.recovered]
    assert numbers(coming[-1].days) == [42]


def test_the_test_without_a_model_leaves_recovered_days_out() -> None:
    made = season(40, SESSIONS)
    plain, more = pairs_of(made, stretches(made)), pairs_of(made, drawn(made))
    np.testing.assert_array_equal(plain.order, more.order)
