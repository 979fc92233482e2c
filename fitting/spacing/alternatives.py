"""What gives, where a plan cannot meet its chances: each way out worked out as a plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from math import prod
from typing import Any, Final

import numpy as np

from slackwater.fitting.spacing.mornings import Mornings
from slackwater.fitting.spacing.search import (
    Found,
    best_plan,
    closest_plan,
    earliest_plan,
)
from slackwater.fitting.spacing.space import Placed, Space
from slackwater.fitting.spacing.wish import Wish
from slackwater.model.errors import QuestionError
from slackwater.model.season import DAY

Session = dict[str, Any]
Alternative = dict[str, Any]

WORK: Final = 5e7  # draws times mornings looked at for each way out
SETS_WORK: Final = 3e8  # the same for all smaller sets of sessions together
MOST_SETS: Final = 400  # smaller sets of sessions tried
MOST_SHOWN: Final = 3  # ways to leave out as few sessions as possible
MOST_REMAINDERS: Final = 100_000  # sets of sessions that a search may have to tell apart


def space_of(wish: Wish, mornings: Mornings, logged: list[np.datetime64]) -> Space:
    """Return the search space of a wish.

    Args:
        wish: what is asked for.
        mornings: the mornings of its days or of more; its types in the wish's order.
        logged: dates on which a session is logged.

    Raises:
        QuestionError: too many different sessions for an exact search.
    """
    types = list(wish.wanted)
    free = tuple(wish.free().values())
    if prod(count + 1 for count in wish.wanted.values()) * len(types) > MOST_REMAINDERS:
        raise QuestionError(
            f"{wish.sessions} sessions of {len(types)} types make too many plans to go through; "
            "ask for fewer sessions or types at once."
        )
    fixed = {round((d - wish.start) / DAY): types.index(t) for d, t in wish.fixed.items()}
    taken = {round((d - wish.start) / DAY) for d in logged if d >= wish.start}
    resting = {day for day in range(wish.days) if wish.rests(day)}
    days = {day for day in taken if day < wish.days}
    return Space(
        mornings.first(wish.days),
        free,
        fixed,
        frozenset(resting | days),
        frozenset(days),
        tuple(wish.chance.values()),
    )


def sessions_of(wish: Wish, space: Space, plan: tuple[Placed, ...]) -> list[Session]:
    """Return a plan's sessions as plain facts, in order of time."""
    types = list(wish.wanted)
    return [
        {
            "date": str(wish.date(p.day)),
            "type": types[p.kind],
            "fixed": p.day in space.fixed,
            "chance": p.back / space.mornings.draws,
            "asked": space.asked[p.kind],
        }
        for p in plan
    ]


class WaysOut:
    """The ways out of a wish that cannot be met.

    Attributes:
        alternatives: those that work, each with its kind, what changes and its plan.
        closest: the sessions of the plan that comes nearest; None if not worked out.
        fixed_short: the fixed sessions that fall short with nothing but those planned.
        not_worked_out: kinds that would have taken too long.
    """

    def __init__(self, wish: Wish, mornings: Mornings, logged: list[np.datetime64]) -> None:
        """Work every way out.

        Args:
            wish: what was asked for.
            mornings: the mornings of all days that can be foreseen from its start.
            logged: dates on which a session is logged.
        """
        self._wish = wish
        self._mornings = mornings
        self._logged = logged
        self.alternatives: list[Alternative] = []
        self.not_worked_out: list[str] = []
        self._longest = replace(wish, days=len(mornings.speed))
        self.fixed_short = self._fixed_short()
        self._try(self._longest, "more days")
        self._fewer_sessions()
        for date in wish.fixed:
            moved = {"date": str(date), "type": wish.fixed[date]}
            others = {d: t for d, t in wish.fixed.items() if d != date}
            self._change("another day", {"fixed": others}, instead_of=[moved])
        if wish.fixed and not self.alternatives:
            moved_all = [{"date": str(d), "type": t} for d, t in wish.fixed.items()]
            self._change("another day", {"fixed": {}}, instead_of=moved_all)
        for rest in wish.rest:
            others_rest = tuple(r for r in wish.rest if r != rest)
            self._change("no rest day", {"rest": others_rest}, on=rest)
        self.closest = self._closest()

    def _space(self, wish: Wish) -> Space:
        return space_of(wish, self._mornings, self._logged)

    def _try(self, wish: Wish, kind: str, **facts: Any) -> bool:
        """Look for a plan; say whether there is one, or there is no telling."""
        space = self._space(wish)
        found = best_plan(space, WORK)
        if found.plan is not None:
            days = found.plan[-1].day + 1
            sessions = sessions_of(wish, space, found.plan)
            way = {"kind": kind, **facts, "days": days, "proven": found.proven}
            self.alternatives.append({**way, "sessions": sessions})
        elif not found.proven:
            self.not_worked_out.append(kind)
        return found.plan is not None or not found.proven

    def _change(self, kind: str, change: dict[str, Any], **facts: Any) -> None:
        """Try a change within the days asked for; with more days if neither alone is enough."""
        longer_fits = any(way["kind"] == "more days" for way in self.alternatives)
        if not self._try(replace(self._wish, **change), kind, **facts) and not longer_fits:
            self._try(replace(self._longest, **change), kind, **facts)

    def _fixed_short(self) -> list[Session]:
        kept = list(self._wish.fixed.values())
        alone = replace(self._wish, wanted={t: kept.count(t) for t in self._wish.wanted})
        space = self._space(alone)
        found = closest_plan(space, WORK)
        short = [p for p in found.plan or () if space.margin(p) < 0]
        return sessions_of(alone, space, tuple(short))

    def _fewer_sessions(self) -> None:
        """Leave out as few sessions as possible, in every way that then fits."""
        free = list(self._wish.free().values())
        most = sum(free) - (0 if self._wish.fixed else 1)
        work = SETS_WORK
        tried = 0
        for fewer in range(1, most + 1):
            fitting = []
            for left_out in islice(_ways(free, fewer), MOST_SETS - tried):
                smaller = self._without(left_out)
                space = self._space(smaller)
                found = earliest_plan(space, work)
                work -= _cost(space, found)
                tried += 1
                if found.plan is not None:
                    fitting.append((smaller, left_out))
                if work < 0 or tried == MOST_SETS:
                    break
            for smaller, left_out in fitting[:MOST_SHOWN]:
                names = {
                    t: count for t, count in zip(self._wish.wanted, left_out, strict=True) if count
                }
                self._try(smaller, "fewer sessions", left_out=names)
            if fitting:
                return
            if work < 0 or tried == MOST_SETS:
                self.not_worked_out.append("fewer sessions")
                return

    def _without(self, left_out: tuple[int, ...]) -> Wish:
        kept = {
            label: count - fewer
            for (label, count), fewer in zip(self._wish.wanted.items(), left_out, strict=True)
        }
        return replace(self._wish, wanted=kept)

    def _closest(self) -> list[Session] | None:
        space = self._space(self._wish)
        found = closest_plan(space, WORK)
        if found.plan is None or not found.proven:
            return None
        return sessions_of(self._wish, space, found.plan)


def _ways(free: list[int], fewer: int) -> Iterator[tuple[int, ...]]:
    """Yield how many of each type to leave out, so many in all; the last types first."""
    if len(free) == 1:
        if fewer <= free[0]:
            yield (fewer,)
        return
    for here in range(min(free[0], fewer) + 1):
        for rest in _ways(free[1:], fewer - here):
            yield (here, *rest)


def _cost(space: Space, found: Found) -> float:
    return float(found.branches * space.mornings.unplanned.size)
