"""What planned sessions do to the mornings of a plan, draw by draw.

Dips add up, so the state on a morning is the one without the plan plus what each planned
session leaves of its dip. Each session has its own scatter, drawn once and kept whatever
day it is moved to, so that plans are compared on the same luck (common random numbers).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache
from typing import Final

import numpy as np

from slackwater.fitting.state.ahead import dips_ahead
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats

_KEPT: Final = 128  # courses of recovery kept in memory
_SURE: Final = 0.99


@dataclass(frozen=True, eq=False)
class Mornings:
    """The mornings of a plan's days, S draws, H days, K types.

    Attributes:
        threshold: smallest dip worth acting on, shape (S,), ln.
        unplanned: dips together without the plan on each morning, shape (H, S), ln.
        dips: dip of each type's first, second, … session, shape (K, J, S), ln.
        rates: recovery rate of each type, shape (K, S), 1/day.
        speed: factor on all rates for the step into each morning, shape (H, S).
    """

    threshold: Floats
    unplanned: Floats
    dips: Floats
    rates: Floats
    speed: Floats

    @cached_property
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
        return [int(np.count_nonzero(under)) for under in totals <= self.threshold]

    @cached_property
    def likeliest_back(self) -> list[list[float]]:
        """A bound on the chance to be recovered 1, 2, … days after a session, (K, H - 1).

        As if nothing else weighed, every logged measure acted on every night, and the
        mildest of the type's sessions was meant. No longer once it is sure.
        """
        return [self._likeliest_back(kind) for kind in range(len(self.dips))]

    def _likeliest_back(self, kind: int) -> list[float]:
        pace = self.rates[kind] * self.speed.max(axis=0)
        shares: list[float] = []
        for nights in range(len(self.speed) - 1):
            left = self.dips[kind] * np.exp(-pace * nights)
            shares.append(max(self.recovered(left)) / self.draws)
            if shares[-1] > _SURE:  # no chance asked for is higher
                break
        return shares

    @cached_property
    def first(self) -> Callable[[int], Mornings]:
        """Return the first days alone, the same object for as many: what it keeps is used again."""
        return cache(lambda d: replace(self, unplanned=self.unplanned[:d], speed=self.speed[:d]))

    @cached_property
    def _left(self) -> Callable[[int, int], Floats]:
        """Return the share of a type's dip left on mornings after a day; the latest are kept."""
        passed = np.cumsum(self.speed, axis=0)

        @lru_cache(maxsize=_KEPT)
        def left(kind: int, day: int) -> Floats:
            nights = passed[day + 1 :]
            return np.asarray(np.exp(-self.rates[kind] * (nights - nights[:1])))

        return left


def mornings_of(now: Standing, skipped: int, days: int, types: list[str], most: int) -> Mornings:
    """Return the mornings of a plan.

    Args:
        now: the state.
        skipped: how many days after the last reading's the plan begins.
        days: how many days, so that the last lies at most 60 after the last reading.
        types: the session types that the plan may hold.
        most: how many sessions of one type at most.
    """
    later, _, dates = dips_ahead(now, skipped + days)
    unplanned = np.concatenate([now.dips.sum(axis=1)[None], later.T])
    speed = np.concatenate([np.ones((1, len(now.rates))), now.speed(dates).T])
    window = slice(skipped, skipped + days)
    groups = [now.groups.index(label) for label in types]
    typical = now.typical_dips()[:, groups].T[:, None]
    logged = [event.label for event in now.pending]  # which come before those planned
    luck = np.stack([now.luck(t, logged.count(t) + most)[logged.count(t) :] for t in types])
    scatter = now.parameter(n.SESSION_SD) * luck
    return Mornings(
        now.threshold,
        np.ascontiguousarray(unplanned[window]),
        np.exp(typical + scatter),
        np.ascontiguousarray(now.rates[:, groups].T),
        np.ascontiguousarray(speed[window]),
    )
