"""A test of a trial that needs no model: what the drawing of lots alone would have made.

The sessions of a type come in pairs, one with the measure and one without, in an order
drawn by lot. If the measure changes nothing, each pair's readings would have been the same
in the other order, so every possible drawing of all orders gives a value of the statistic
that was just as likely as the one seen.

What is compared is how far readings climb from the first morning after a session to those after:
a measure that merely lifts the reading of a night of its use lifts all of these mornings alike, and
drops out.

The statistic is the crossover estimate: the difference with minus without within each pair,
averaged over the pairs with first and over those without first, and then over the two
(Senn 2002, Cross-over Trials in Clinical Research, chapter 3). A baseline that drifts from
the first to the second of a pair drops out of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.trials.stretches import Stretch
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.season import DAY, Season

FEWEST_PAIRS: Final = 5  # with fewer, no outcome has p under 0.05: 2 of 2**5 is 0.0625
ALL_UP_TO: Final = 14  # pairs: 2**14 orders are gone through one by one
DRAWN: Final = 9999


class Pairs(NamedTuple):
    """The complete pairs of a trial, P of them.

    Attributes:
        difference: first minus second session's outcome, shape (P,), ln.
        order: 1 where the first was with the measure, -1 where the second was, shape (P,).
    """

    difference: Floats
    order: Floats


@dataclass(frozen=True)
class WithoutModel:
    """What the randomisation test found; NaN where there are too few pairs.

    Attributes:
        pairs: complete pairs.
        difference_ln: the crossover estimate, with minus without, ln.
        difference_se_ln: its standard error, by the usual formula for two samples.
        possible_orders: how many equally likely lots there are.
        p_value: share of them with a difference at least as large, in either direction; of
            9,999 drawn where there are too many to go through.
    """

    pairs: int
    difference_ln: float = np.nan
    difference_se_ln: float = np.nan
    possible_orders: float = np.nan
    p_value: float = np.nan


def pairs_of(season: Season, stretches: Sequence[Stretch]) -> Pairs:
    """Return the pairs of which both stretches tell of recovery, first morning included.

    A stretch's outcome is the mean ln reading of its 2nd to 4th morning minus that of its 1st.
    """
    read = season.data[n.LOG_RMSSD].values
    readings = dict(zip(season.nights.tolist(), read.tolist(), strict=True))

    def climb(stretch: Stretch) -> float:
        first = readings.get((stretch.first + DAY).item(), np.nan)
        return float(np.mean([readings[m] for m in stretch.mornings.tolist()]) - first)

    return _in_pairs(stretches, climb)


@dataclass(frozen=True)
class Gaps:
    """Days from each session that tells of recovery to the next of the trial.

    Attributes:
        with_: their mean after sessions with the measure; NaN for none.
        without: after those without.
        pairs: of their logarithms.
    """

    with_: float
    without: float
    pairs: Pairs


def gaps_of(stretches: Sequence[Stretch]) -> Gaps:
    """Return how long after each session the next one came, by arm."""

    def days(stretch: Stretch) -> float:
        return np.nan if stretch.next is None else float((stretch.next - stretch.first) / DAY)

    def mean(arm: Arm) -> float:
        found = [days(s) for s in _of_sessions(stretches) if s.arm == arm]
        known = [each for each in found if np.isfinite(each)]
        return float(np.mean(known)) if known else np.nan

    pairs = _in_pairs(stretches, lambda stretch: float(np.log(days(stretch))))
    return Gaps(mean(WITH), mean(WITHOUT), pairs)


def _of_sessions(stretches: Sequence[Stretch]) -> list[Stretch]:
    return [s for s in stretches if s.counts and not s.recovered]


def _in_pairs(stretches: Sequence[Stretch], outcome_of: Callable[[Stretch], float]) -> Pairs:
    """Return the pairs of which both stretches have an outcome."""
    found = {(s.label, s.number): (s, outcome_of(s)) for s in _of_sessions(stretches)}
    outcome = {key: each for key, each in found.items() if np.isfinite(each[1])}
    difference, order = [], []
    for (label, number), (first, value) in outcome.items():
        second = outcome.get((label, number + 1))
        if number % 2 == 0 and second is not None:
            difference.append(value - second[1])
            order.append(1.0 if first.arm == WITH else -1.0)
    return Pairs(np.array(difference, float), np.array(order, float))


def randomisation_test(pairs: Pairs, rng: np.random.Generator) -> WithoutModel:
    """Test whether the arms differ by more than the lots alone would have made.

    Args:
        pairs: the complete ones.
        rng: for the orders that are drawn where there are too many to go through.
    """
    count = len(pairs.order)
    if count < FEWEST_PAIRS:
        return WithoutModel(count)
    exact = count <= ALL_UP_TO
    drawn = np.where(rng.random((DRAWN, 0 if exact else count)) < 0.5, 1.0, -1.0)
    orders = all_orders(count) if exact else drawn
    seen = crossover(pairs.difference, pairs.order[None])[0]
    others = crossover(pairs.difference, orders)
    p_value = share_as_large(abs(float(seen)), np.abs(others), exact=exact)
    return WithoutModel(count, float(seen), standard_error(pairs), float(2**count), p_value)


def all_orders(count: int) -> Floats:
    """Return every order of `count` pairs, shape (2**count, count), entries 1 and -1."""
    bits = np.arange(2**count)[:, None] >> np.arange(count)
    return np.where(bits % 2 == 0, 1.0, -1.0)


def crossover(difference: Floats, orders: Floats) -> Floats:
    """Return the crossover estimate for each of M orders, shape (M,).

    Where all pairs have the same order, the mean difference with minus without.

    Args:
        difference: first minus second, shape (P,).
        orders: 1 where with came first, shape (M, P).
    """
    first = orders > 0
    counts = first.sum(axis=1), (~first).sum(axis=1)
    sums = first @ difference, (~first) @ difference
    with np.errstate(divide="ignore", invalid="ignore"):
        halves = (sums[0] / counts[0] - sums[1] / counts[1]) / 2
    one_sided = (counts[0] == 0) | (counts[1] == 0)
    return np.asarray(np.where(one_sided, (orders * difference).mean(axis=1), halves))


def standard_error(pairs: Pairs) -> float:
    """Return the crossover estimate's standard error, NaN where it cannot be had."""
    groups = [pairs.difference[pairs.order > 0], pairs.difference[pairs.order < 0]]
    sizes = [len(g) for g in groups]
    if min(sizes) == 0 or sum(sizes) < 3:
        return float("nan")
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    variance = squares / (sum(sizes) - 2)
    return float(np.sqrt(variance * (1 / sizes[0] + 1 / sizes[1])) / 2)


def share_as_large(seen: float, others: Floats, *, exact: bool) -> float:
    """Return the p-value: how many of the other values are at least as large.

    Args:
        seen: the statistic as it was.
        others: its values under other assignments.
        exact: `others` are all assignments, the one seen among them; otherwise drawn ones,
            and the one seen is added (Phipson & Smyth 2010; from memory).
    """
    as_large = int((others >= seen - 1e-12 * max(1.0, abs(seen))).sum())
    return as_large / len(others) if exact else (as_large + 1) / (len(others) + 1)
