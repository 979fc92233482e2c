"""The test without a model: published values, and p-values that keep their promise."""

from __future__ import annotations

from itertools import combinations_with_replacement
from math import comb

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting.trials.randomisation import (
    Pairs,
    all_orders,
    crossover,
    pairs_of,
    randomisation_test,
    share_as_large,
    standard_error,
)
from slackwater.fitting.trials.stretches import Assigned, assigned, stretches_of
from tests.fitting.trials.by_hand import day, plan, season

RNG = np.random.default_rng(sum(map(ord, "randomisation")))


def test_the_crossover_of_thirteen_children() -> None:
    # Peak flow (l/min) of 13 children, formoterol then salbutamol (7) or the other way round
    # (6): Senn 2002, Cross-over Trials in Clinical Research, 2nd ed., Tables 3.1 and 3.8.
    # Period-adjusted difference 46.607, standard error 10.777, t 4.325 on 11 df.
    formoterol_first = [
        (310, 270), (310, 260), (370, 300), (410, 390), (250, 210), (380, 350), (330, 365),
    ]  # fmt: skip
    salbutamol_first = [(370, 385), (310, 400), (380, 410), (290, 320), (260, 340), (90, 220)]
    difference = np.array([a - b for a, b in formoterol_first + salbutamol_first], float)
    order = np.array([1.0] * 7 + [-1.0] * 6)
    estimate = crossover(difference, order[None])[0]
    error = standard_error(Pairs(difference, order))
    assert estimate == pytest.approx(46.607, abs=5e-4)
    assert error == pytest.approx(10.777, abs=5e-4)
    assert estimate / error == pytest.approx(4.325, abs=5e-4)
    found = randomisation_test(Pairs(difference, order), RNG)
    assert (found.pairs, found.possible_orders) == (13, 8192)
    assert found.p_value < 0.01  # the t test says .0012


def test_the_phases_of_one_patient() -> None:
    # Data of Onghena 1992 (Behav Assess 14:153-171) in Bulte & Onghena 2008 (Behav Res
    # Methods 40:467-478): an ABAB design, 24 times, at least 4 in each phase. 165 assignments,
    # mean of A minus mean of B 2.0, as large in 5 of them: p = .030303 (the package's own code).
    times = [6, 2, 5, 3, 4, 4, 1, 2, 3, 1, 3, 2, 2, 3, 4, 2, 4, 3, 0, 1, 2, 0, 2, 1]
    values = np.array(times, float)
    phases = [
        (4 + a, 4 + b - a, 4 + c - b, 4 + 8 - c)
        for a, b, c in combinations_with_replacement(range(9), 3)
    ]
    assert len(phases) == comb(24 - 16 + 3, 3) == 165

    def difference(lengths: tuple[int, ...]) -> float:
        in_a = np.repeat([True, False, True, False], lengths)
        return float(values[in_a].mean() - values[~in_a].mean())

    seen = difference((6, 6, 6, 6))
    others = np.array([difference(lengths) for lengths in phases])
    assert seen == pytest.approx(2.0)
    assert share_as_large(seen, others, exact=True) == pytest.approx(5 / 165)
    assert round(5 / 165, 6) == 0.030303


def test_the_estimate_by_hand() -> None:
    difference = np.array([3.0, 5.0, -1.0])
    # With first in pairs 1 and 2: ((3 + 5) / 2 - (-1)) / 2.
    assert crossover(difference, np.array([[1.0, 1.0, -1.0]]))[0] == pytest.approx(2.5)
    # All in one order: the mean of with minus without.
    assert crossover(difference, np.array([[1.0, 1.0, 1.0]]))[0] == pytest.approx(7 / 3)
    assert crossover(difference, np.array([[-1.0, -1.0, -1.0]]))[0] == pytest.approx(-7 / 3)


def test_a_steady_drift_from_first_to_second_drops_out() -> None:
    effect, order = 0.1, np.array([1.0, -1.0, 1.0, 1.0, -1.0])
    for drift in (0.0, -0.3):
        difference = effect * order + drift
        assert crossover(difference, order[None])[0] == pytest.approx(effect)


def test_the_smallest_p_value_that_all_orders_allow() -> None:
    order = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    found = randomisation_test(Pairs(0.2 * order, order), RNG)
    assert found.difference_ln == pytest.approx(0.2)
    assert found.difference_se_ln == pytest.approx(0.0, abs=1e-12)
    # Only the order seen and its mirror image give a difference as large.
    assert found.p_value == 2 / 2**6


def test_drawn_orders_agree_with_all_of_them() -> None:
    difference, order = RNG.normal(0.4, 1.0, 15), np.where(RNG.random(15) < 0.5, 1.0, -1.0)
    found = randomisation_test(Pairs(difference, order), RNG)
    assert found.possible_orders == 2**15
    every = np.abs(crossover(difference, all_orders(15)))
    exact = share_as_large(abs(found.difference_ln), every, exact=True)
    error = np.sqrt(exact * (1 - exact) / 9999)
    assert abs(found.p_value - exact) < 5 * error + 1e-4


def test_a_drawn_p_value_is_never_zero() -> None:
    assert share_as_large(9.0, np.zeros(999), exact=False) == 1 / 1000
    assert share_as_large(9.0, np.zeros(1000), exact=True) == 0.0  # its own order is not there


def test_too_little_for_a_standard_error() -> None:
    assert np.isnan(standard_error(Pairs(np.array([1.0, 2.0]), np.array([1.0, 1.0]))))
    assert np.isnan(standard_error(Pairs(np.array([1.0, 2.0]), np.array([1.0, -1.0]))))


def test_pairs_are_of_one_type_and_need_both_sessions() -> None:
    sessions = [(0, "row"), (4, "lift"), (8, "row"), (12, "lift"), (16, "row"), (20, "row")]
    readings = np.full(30, 4.0)
    readings[2:5] = [4.1, 4.2, 4.3]  # after the first row, without
    readings[10:13] = [4.5, 4.6, 4.7]  # after the second, with
    readings[14:17] = np.nan  # the second lift was not read
    readings[[18, 23]] = [4.3, 4.9]
    made = season(30, sessions, readings=readings.tolist())
    found = pairs_of(made, stretches_of(made, assigned(plan())))
    # row: without then with; with then without. The third row's mornings are 18, 19, 20, the
    # fourth's 22, 23, 24.
    assert found.order.tolist() == [-1.0, 1.0]
    assert found.difference == pytest.approx([4.2 - 4.6, 4.1 - 4.3])
    assert crossover(found.difference, found.order[None])[0] == pytest.approx((-0.2 + 0.4) / 2)


@pytest.mark.parametrize(("sessions", "exact"), [(24, True), (40, False)])
def test_p_values_keep_their_promise_where_nothing_is_true(sessions: int, exact: bool) -> None:
    # Readings with a drifting baseline, heavy tails and dips, none of which know of the lots.
    trials, count = 500, sessions // 2
    days = 3 * np.arange(sessions)
    kinds = [["row", "lift"][k % 2] for k in range(sessions)]
    nights = 3 * sessions + 6
    made = season(nights, list(zip(days.tolist(), kinds, strict=True)))
    dip = np.zeros(nights)
    for at, kind in zip(days, kinds, strict=True):
        dip[at + 1 :] += {"row": 0.3, "lift": 0.1}[kind] * 0.6 ** np.arange(nights - at - 1)
    p_values = []
    for seed in range(trials):
        walk = np.cumsum(0.03 * RNG.standard_normal(nights))
        read = made.with_readings(4 + walk - dip + 0.1 * RNG.standard_t(3, nights))
        lots = Assigned(day(0), ["row", "lift"], seed)
        found = randomisation_test(pairs_of(read, stretches_of(read, lots)), RNG)
        assert found.pairs == count
        p_values.append(found.p_value)
    # Some of 9,999 drawn orders are no share of all of them.
    assert all(p * 2**count % 1 == 0 for p in p_values) == exact
    # Uniform, but for steps of 2/2**12 or 1/10,000: held against Kolmogorov and Smirnov's
    # bound, and at the usual level against the binomial one; each fails 1 time in 1,000.
    assert stats.kstest(p_values, "uniform").pvalue > 0.001
    low, high = stats.binom.ppf([0.0005, 0.9995], trials, 0.05)
    assert low <= sum(p <= 0.05 for p in p_values) <= high


def test_an_effect_is_found() -> None:
    # Negative control: the same machinery must see a large effect.
    sessions = 24
    days = 3 * np.arange(sessions)
    nights = 3 * sessions + 6
    made = season(nights, [(int(d), "row") for d in days])
    hits = 0
    for seed in range(50):
        lots = Assigned(day(0), ["row"], seed)
        level = np.full(nights, 4.0)
        for stretch in stretches_of(made, lots):
            at = np.flatnonzero(np.isin(made.nights, stretch.mornings))
            level[at] += 0.2 * (stretch.arm == "with")
        read = made.with_readings(level + 0.1 * RNG.standard_normal(nights))
        found = randomisation_test(pairs_of(read, stretches_of(read, lots)), RNG)
        assert 0.0 < found.difference_ln < 0.4
        hits += found.p_value <= 0.05
    assert hits >= 45
