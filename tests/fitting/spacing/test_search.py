"""The search for a plan, against every plan there is, worked out one by one."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise, permutations
from typing import Any

import numpy as np
import pytest

from slackwater.fitting.spacing.mornings import Mornings
from slackwater.fitting.spacing.search import best_plan, closest_plan, earliest_plan
from slackwater.fitting.spacing.space import Placed, Space

DRAWS = 40  # few, so that ties are many
Order = tuple[tuple[int, int], ...]  # day and type of each session


def random_space(seed: int) -> Space:
    """Return a small case: 5 to 8 days, 1 to 3 types, up to 4 sessions, one in two feasible."""
    rng = np.random.default_rng(seed)
    days, kinds = int(rng.integers(5, 9)), int(rng.integers(1, 4))
    counts = rng.multinomial(int(rng.integers(1, 5)), np.ones(kinds) / kinds)
    unplanned = rng.uniform(0, 0.15) * np.exp(
        -rng.uniform(0.3, 1.5, DRAWS) * np.arange(days)[:, None]
    )
    dips = rng.uniform(0.04, 0.2, (kinds, 1, 1)) * np.exp(
        0.3 * rng.standard_normal((kinds, 5, DRAWS))
    )
    rates = rng.uniform(0.4, 2.0, (kinds, 1)) * np.exp(0.2 * rng.standard_normal((kinds, DRAWS)))
    speed = np.where(rng.random((days, 1)) < 0.3, rng.uniform(1, 2, DRAWS), 1.0)
    mornings = Mornings(rng.uniform(0.04, 0.06, DRAWS), unplanned, dips, rates, speed)
    free, fixed = counts.copy(), {}
    if counts.any() and rng.random() < 0.4:
        kind = int(rng.choice(np.flatnonzero(counts)))
        fixed[int(rng.integers(2, days))] = kind
        free[kind] -= 1
    spare = [day for day in range(days) if day not in fixed]
    closed = rng.choice(spare, 2, replace=False) if rng.random() < 0.5 else spare[:0]
    closed_days = [int(day) for day in closed]
    logged = closed_days[:1] if rng.random() < 0.5 else []
    asked = tuple(float(a) for a in rng.choice([0.3, 0.5, 0.8], kinds))
    return Space(
        mornings, tuple(map(int, free)), fixed, frozenset(closed_days), frozenset(logged), asked
    )


def every_order(space: Space) -> list[Order]:
    """List all that could be planned: every choice of days, every order of types on them."""
    open_days = [d for d in range(space.days) if d not in space.closed and d not in space.fixed]
    kinds = [kind for kind, count in enumerate(space.free) for _ in range(count)]
    return [
        tuple(sorted([*zip(chosen, order, strict=True), *space.fixed.items()]))
        for chosen in combinations(open_days, len(kinds))
        for order in sorted(set(permutations(kinds)))
    ]


def back(space: Space, order: Order) -> list[int]:
    """Count the draws recovered on the morning of each session, night by night."""
    m = space.mornings
    state = np.zeros((len(space.free), DRAWS))
    done = [0] * len(space.free)
    counts, on = [], dict(order)
    for day in range(space.days):
        state = state * np.exp(-m.rates * m.speed[day])
        if day - 1 in on:
            state[on[day - 1]] += m.dips[on[day - 1], done[on[day - 1]]]
            done[on[day - 1]] += 1
        if day in on:
            total = m.unplanned[day] + state.sum(axis=0)
            counts.append(int((total <= m.threshold).sum()))
    return counts


def key(space: Space, order: Order, counts: list[int]) -> tuple[Any, ...]:
    """Rank a plan as the search promises to: the smaller, the better."""
    finish = order[-1][0]
    training = sorted({day for day, _ in order} | {d for d in space.logged if d < finish})
    gaps = [after - before for before, after in pairwise([-1, *training])]
    margins = margins_of(space, order, counts)
    return finish, sum(g * g for g in gaps), -min(margins), -sum(counts), order


def margins_of(space: Space, order: Order, counts: list[int]) -> list[float]:
    return [
        count / DRAWS - space.asked[kind] for (_, kind), count in zip(order, counts, strict=True)
    ]


def as_order(plan: tuple[Placed, ...] | None) -> Order | None:
    return None if plan is None else tuple((p.day, p.kind) for p in plan)


@pytest.mark.parametrize("seed", range(150))
def test_the_best_plan_is_the_best_of_all_there_are(seed: int) -> None:
    space = random_space(seed)
    tried = [(order, back(space, order)) for order in every_order(space) if order]
    meeting = [(o, c) for o, c in tried if min(margins_of(space, o, c)) >= 0]
    best = min((key(space, o, c) for o, c in meeting), default=None)
    found = best_plan(space)
    assert found.proven
    assert as_order(found.plan) == (best and best[-1])
    if found.plan is not None:
        assert [p.back for p in found.plan] == back(space, as_order(found.plan) or ())
        earliest = earliest_plan(space).plan
        assert earliest is not None
        assert earliest[-1].day == found.plan[-1].day


@pytest.mark.parametrize("seed", range(150))
def test_the_closest_plan_has_the_best_worst_margin_of_all(seed: int) -> None:
    space = random_space(seed)
    worst = [min(margins_of(space, o, back(space, o))) for o in every_order(space) if o]
    found = closest_plan(space)
    assert (found.plan is None) == (not worst)
    if found.plan is not None:
        assert min(map(space.margin, found.plan)) == max(worst)


def test_the_random_cases_are_of_every_sort() -> None:
    spaces = [random_space(seed) for seed in range(150)]
    fitting = [best_plan(space).plan is not None for space in spaces]
    assert 40 < sum(fitting) < 110
    assert sum(bool(s.fixed) and ok for s, ok in zip(spaces, fitting, strict=True)) >= 10
    assert sum(bool(s.logged) and ok for s, ok in zip(spaces, fitting, strict=True)) >= 10
    assert sum(sum(s.free) >= 3 and ok for s, ok in zip(spaces, fitting, strict=True)) >= 10


def finish(space: Space) -> float:
    plan = best_plan(space).plan
    return float("inf") if plan is None else plan[-1].day


@pytest.mark.parametrize("seed", range(40))
def test_a_higher_chance_never_finishes_earlier(seed: int) -> None:
    space = random_space(seed)
    finishes = [finish(replace(space, asked=(a,) * len(space.asked))) for a in (0.2, 0.5, 0.8, 0.9)]
    assert finishes == sorted(finishes)


@pytest.mark.parametrize("seed", range(40))
def test_what_is_asked_less_of_never_finishes_later(seed: int) -> None:
    space = random_space(seed)
    assert finish(replace(space, closed=frozenset(), logged=frozenset())) <= finish(space)
    if any(space.free) and sum(space.free) + len(space.fixed) > 1:
        kind = next(k for k, count in enumerate(space.free) if count)
        fewer = tuple(count - (k == kind) for k, count in enumerate(space.free))
        assert finish(replace(space, free=fewer)) <= finish(space)


@pytest.mark.parametrize("seed", range(40))
def test_days_after_the_finish_change_nothing(seed: int) -> None:
    space = random_space(seed)
    plan = best_plan(space).plan
    if plan is not None:
        last = plan[-1].day
        days = range(last + 1)
        shorter = replace(
            space,
            mornings=space.mornings.first(last + 1),
            closed=frozenset(space.closed & set(days)),
            logged=frozenset(space.logged & set(days)),
        )
        assert best_plan(shorter).plan == plan


def test_types_are_placed_in_the_order_asked_where_all_else_is_equal() -> None:
    nothing = np.zeros((5, DRAWS))
    dips, rates = np.full((2, 3, DRAWS), 0.01), np.ones((2, DRAWS))
    mornings = Mornings(np.full(DRAWS, 0.05), nothing, dips, rates, np.ones((5, DRAWS)))
    space = Space(mornings, (2, 1), {}, frozenset(), frozenset(), (0.8, 0.8))
    assert as_order(best_plan(space).plan) == ((0, 0), (1, 0), (2, 1))


def test_spacing_is_even_where_the_finish_is_given_by_a_fixed_day() -> None:
    nothing = np.zeros((9, DRAWS))
    dips, rates = np.full((1, 4, DRAWS), 0.01), np.ones((1, DRAWS))
    mornings = Mornings(np.full(DRAWS, 0.05), nothing, dips, rates, np.ones((9, DRAWS)))
    space = Space(mornings, (2,), {8: 0}, frozenset(), frozenset(), (0.8,))
    # Gaps 3, 3, 3 from the day before the plan.
    assert as_order(best_plan(space).plan) == ((2, 0), (5, 0), (8, 0))
    # With a session logged on day 5, which is a training day too: gaps 2, 2, 2, 3.
    logged = replace(space, closed=frozenset({5}), logged=frozenset({5}))
    assert as_order(best_plan(logged).plan) == ((1, 0), (3, 0), (8, 0))


def test_a_search_stops_when_its_work_is_used_up() -> None:
    space = random_space(3)
    assert best_plan(space).proven
    few = best_plan(space, work=1)
    assert (few.plan, few.proven) == (None, False)
