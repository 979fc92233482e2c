"""The lots of a trial: re-derived from the seed, balanced, and all equally likely."""

from __future__ import annotations

import subprocess
from itertools import product
from math import comb
from shutil import which

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from slackwater.fitting.records.lots import arm_of, pair, pairs
from slackwater.fitting.trials.randomisation import all_orders
from tests.fitting.trials.by_hand import SEED

WITH_FIRST = ("with", "without")
WITHOUT_FIRST = ("without", "with")


@pytest.mark.parametrize(
    ("label", "number", "digest", "order"),
    [  # first 8 bytes, from coreutils' sha256sum: printf '7 hill run 1' | sha256sum
        ("hill run", 1, 0x7F1B4CDDE9DC1406, WITH_FIRST),
        ("hill run", 2, 0xF1AEDD9B37E254EA, WITH_FIRST),
        ("hügel", 1, 0x55C70F5408A73E4B, WITHOUT_FIRST),
    ],
)
def test_an_order_follows_from_the_digest(
    label: str, number: int, digest: int, order: tuple[str, str]
) -> None:
    assert (digest % 2 == 0) == (order == WITH_FIRST)
    assert pair(7, label, number) == order


@pytest.mark.skipif(which("sha256sum") is None, reason="needs coreutils' sha256sum")
def test_a_sequence_can_be_re_derived_without_this_program() -> None:
    drawn = pairs(20310707, ["row", "heavy lifting"], 12)
    for label, each in drawn.items():
        for number, order in enumerate(each, start=1):
            text = f"20310707 {label} {number}".encode()
            said = subprocess.run(["sha256sum"], input=text, capture_output=True, check=True)
            even = int(said.stdout[:16], 16) % 2 == 0
            assert order == (WITH_FIRST if even else WITHOUT_FIRST)


def test_the_lots_that_the_other_tests_go_by() -> None:
    begun = [WITHOUT_FIRST, WITH_FIRST, WITH_FIRST, WITHOUT_FIRST]
    assert pairs(SEED, ["row"], 4)["row"] == begun
    begun = [WITH_FIRST, WITHOUT_FIRST, WITHOUT_FIRST, WITH_FIRST]
    assert pairs(SEED, ["lift"], 4)["lift"] == begun


@given(st.integers(0, 2**32 - 1), st.text(min_size=1), st.integers(0, 40))
def test_any_number_of_sessions_is_balanced_to_within_one(
    seed: int, label: str, count: int
) -> None:
    arms = [arm_of(seed, label, k) for k in range(count)]
    assert abs(arms.count("with") - arms.count("without")) == count % 2
    assert [arm for p in pairs(seed, [label], 20)[label] for arm in p][:count] == arms[:40]


def test_both_orders_are_equally_likely_and_do_not_follow_one_another() -> None:
    first = np.array([pair(seed, "row", k)[0] == "with" for seed in range(200) for k in range(50)])
    # Fair coins: heads, and equal neighbours, within the 99.9 % binomial range.
    low, high = stats.binom.ppf([0.0005, 0.9995], len(first), 0.5)
    assert low <= first.sum() <= high
    low, high = stats.binom.ppf([0.0005, 0.9995], len(first) - 1, 0.5)
    assert low <= (first[1:] == first[:-1]).sum() <= high


@pytest.mark.parametrize("sessions", [2, 4, 8, 12])
def test_there_are_two_to_the_half_possible_assignments(sessions: int) -> None:
    # Blocks of two: 2**(n/2) assignments; any with equal arms: choose(n, n/2) (the counts of
    # the R package SCRT; Bulte & Onghena 2008, Behav Res Methods 40:467-478).
    balanced = [a for a in product((1, -1), repeat=sessions) if sum(a) == 0]
    paired = [a for a in balanced if all(a[i] + a[i + 1] == 0 for i in range(0, sessions, 2))]
    assert len(balanced) == comb(sessions, sessions // 2)
    assert len(paired) == 2 ** (sessions // 2)
    ours = {tuple(order) for order in all_orders(sessions // 2).tolist()}
    assert ours == {tuple(float(v) for v in a[::2]) for a in paired}
