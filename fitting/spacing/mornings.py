"""What planned sessions do to the mornings of a plan, draw by draw.

Dips add up, so the state on a morning is the one without the plan plus what each planned
session leaves of its dip. Each session has its own scatter, drawn once and kept whatever
day it is moved to, so that plans are compared on the same luck (common random numbers).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from slackwater.fitting.state.ahead import dips_ahead
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats

DRAWS: Final = 2000  # no more are looked at: a chance of 0.8 is then known to 0.01
_KEPT: Final = 128  # courses of recovery kept in memory
_SURE: Final = 0.99


class Mornings:
    """The mornings of a plan's days, S draws, H days, K types.

    Attributes:
        threshold: smallest dip worth acting on, shape (S,), ln.
        unplanned: dips together without the plan on each morning, shape (H, S), ln.
        dips: dip of each type's first, second, … session, shape (K, J, S), ln.
        rates: recovery rate of each type, shape (K, S), 1/day.
        speed: factor on all rates for the step into each morning, shape (H, S).
    """

    def __init__(
        self, threshold: Floats, unplanned: Floats, dips: Floats, rates: Floats, speed: Floats
    ) -> None:
        """Keep the arrays that are described above."""
        self.threshold = threshold
        self.unplanned = unplanned
        self.dips = dips
        self.rates = rates
        self.speed = speed
        self._passed = np.cumsum(speed, axis=0)
        self._left = lru_cache(maxsize=_KEPT)(self._share_left)

    @property
    def draws(self) -> int:
        """How many draws there are."""
        return len(self.threshold)

    def added(self, kind: int, which: int, day: int, stop: int) -> Floats:
        """Return what a session on a day adds to the mornings after it, (stop - day - 1, S).

        Args:
            kind: its type.
            which: 0 for the plan's first session of that type, 1 for the second, …
            day: its day, counted from 0.
            stop: the first morning no longer asked for.
        """
        return np.asarray(self.dips[kind, which] * self._left(kind, day)[: stop - day - 1])

    def recovered(self, totals: Floats) -> list[int]:
        """Return in how many draws each morning's dips lie under the threshold."""
        return [int(np.count_nonzero(total <= self.threshold)) for total in totals]

    def likeliest_back(self, kind: int) -> list[float]:
        """Return a bound on the chance to be recovered 1, 2, … days after a session, (H - 1,).

        As if nothing else weighed, every logged measure acted on every night, and the
        mildest of the type's sessions was meant.
        """
        pace = self.rates[kind] * self.speed.max(axis=0)
        shares: list[float] = []
        for nights in range(len(self.speed) - 1):
            left = self.dips[kind] * np.exp(-pace * nights)
            shares.append(max(self.recovered(left)) / self.draws)
            if shares[-1] > _SURE:  # no chance asked for is higher
                break
        return shares

    def first(self, days: int) -> Mornings:
        """Return the first days alone."""
        return Mornings(
            self.threshold, self.unplanned[:days], self.dips, self.rates, self.speed[:days]
        )

    def _share_left(self, kind: int, day: int) -> Floats:
        nights = self._passed[day + 1 :]
        return np.asarray(np.exp(-self.rates[kind] * (nights - nights[:1])))


def mornings_of(now: Standing, skipped: int, days: int, types: list[str], most: int) -> Mornings:
    """Return the mornings of a plan.

    Args:
        now: the state.
        skipped: how many days after the last reading's the plan begins.
        days: how many days, so that the last lies at most 60 after the last reading.
        types: the session types that the plan may hold.
        most: how many sessions of one type at most.
    """
    chosen = _chosen(len(now.rates))
    later, dates = _without_plan(now, skipped + days)
    unplanned = np.concatenate([now.dips.sum(axis=1)[None], later.T])
    speed = np.concatenate([np.ones((1, len(now.rates))), now.speed(dates).T])
    window = slice(skipped, skipped + days)
    groups = [now.groups.index(label) for label in types]
    typical = now.typical_dips()[:, groups].T[:, None]
    scatter = now.parameter(n.SESSION_SD) * _luck(now, types, most)
    return Mornings(
        now.threshold[chosen],
        np.ascontiguousarray(unplanned[window, chosen]),
        np.ascontiguousarray(np.exp(typical + scatter)[:, :, chosen]),
        np.ascontiguousarray(now.rates[chosen][:, groups].T),
        np.ascontiguousarray(speed[window, chosen]),
    )


def _chosen(draws: int) -> slice:
    return slice(None, None, -(-draws // DRAWS))


def _without_plan(now: Standing, nights: int) -> tuple[Floats, np.ndarray]:
    dip, *_, dates = dips_ahead(now, nights, [], (), now.rng())
    return dip, dates


def _luck(now: Standing, types: list[str], most: int) -> Floats:
    """Draw each session's scatter, shape (K, J, S): the same for a type in every question."""
    known = now.types
    return np.stack(
        [
            np.random.default_rng([now.seed, known.index(label)]).standard_normal(
                (most, len(now.rates))
            )
            for label in types
        ]
    )
