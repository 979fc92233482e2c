"""What gives, where a plan cannot meet its chances: each way out worked out as a plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from math import prod
from typing import Any, Final, NamedTuple

from slackwater.fitting.spacing.mornings import Mornings
from slackwater.fitting.spacing.search import Found, best_plan, closest_plan, earliest_plan
from slackwater.fitting.spacing.session import Dated, Session
from slackwater.fitting.spacing.space import Placed, Space
from slackwater.fitting.spacing.wish import Wish
from slackwater.model.errors import QuestionError

WORK: Final = 5e7  # draws times mornings looked at for each way out
SETS_WORK: Final = 3e8  # the same for all smaller sets of sessions together
MOST_SETS: Final = 400  # smaller sets of sessions tried
MOST_SHOWN: Final = 3  # ways to leave out as few sessions as possible
MOST_REMAINDERS: Final = 100_000  # sets of sessions that a search may have to tell apart


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """A way out that works.

    Attributes:
        kind: what changes.
        days: how many days its plan takes.
        proven: whether no plan of this kind is better.
        sessions: its plan, in order of time.
    """

    kind: str = ""  # each has its own
    days: int
    proven: bool
    sessions: tuple[Session, ...]


@dataclass(frozen=True, kw_only=True)
class MoreDays(Alternative):
    """The same sessions in more days."""

    kind: str = "more days"


@dataclass(frozen=True, kw_only=True)
class FewerSessions(Alternative):
    """Sessions left out: how many of each type."""

    kind: str = "fewer sessions"
    left_out: Mapping[str, int]


@dataclass(frozen=True, kw_only=True)
class AnotherDay(Alternative):
    """Fixed sessions on other days instead of theirs."""

    kind: str = "another day"
    instead_of: tuple[Dated, ...]


@dataclass(frozen=True, kw_only=True)
class NoRestDay(Alternative):
    """Sessions allowed on a date or weekday that was asked to be without one."""

    kind: str = "no rest day"
    on: str


class WaysOut(NamedTuple):
    """What gives where a wish cannot be met.

    Attributes:
        alternatives: the ways out that work.
        closest: the sessions of the plan that comes nearest; None if not worked out.
        fixed_short: the fixed sessions that fall short with nothing but those planned.
        not_worked_out: kinds that would have taken too long.
    """

    alternatives: tuple[Alternative, ...] = ()
    closest: tuple[Session, ...] | None = None
    fixed_short: tuple[Session, ...] = ()
    not_worked_out: tuple[str, ...] = ()

    @property
    def hardest(self) -> Session | None:
        """The session of the closest plan that falls short the most."""
        return min(self.closest or (), key=lambda s: s.chance - s.asked, default=None)

    @property
    def more_days_help(self) -> bool | None:
        """Whether more days alone are enough; None where that was not worked out."""
        if MoreDays.kind in self.not_worked_out:
            return None
        return any(isinstance(way, MoreDays) for way in self.alternatives)


def space_of(wish: Wish, mornings: Mornings, logged: list[dt.date]) -> Space:
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
    fixed = {(date - wish.start).days: types.index(label) for date, label in wish.fixed.items()}
    taken = {day for day in range(wish.days) if wish.date(day) in logged}
    resting = {day for day in range(wish.days) if wish.rests(day)}
    return Space(
        mornings.first(wish.days),
        free,
        fixed,
        frozenset(resting | taken),
        frozenset(taken),
        tuple(wish.chance.values()),
    )


def sessions_of(wish: Wish, space: Space, plan: tuple[Placed, ...]) -> tuple[Session, ...]:
    """Return a plan's sessions, in order of time."""
    types = list(wish.wanted)
    return tuple(
        Session(
            date=wish.date(p.day),
            type=types[p.kind],
            fixed=p.day in space.fixed,
            chance=p.back / space.mornings.draws,
            asked=space.asked[p.kind],
        )
        for p in plan
    )


def ways_out(wish: Wish, mornings: Mornings, logged: list[dt.date]) -> WaysOut:
    """Work out every way out of a wish that cannot be met.

    Args:
        wish: what was asked for.
        mornings: the mornings of all days that can be foreseen from its start.
        logged: dates on which a session is logged.
    """
    return _Trying(wish, mornings, logged).ways_out()


class _Trying:
    """One way out after the other."""

    def __init__(self, wish: Wish, mornings: Mornings, logged: list[dt.date]) -> None:
        self._wish = wish
        self._mornings = mornings
        self._logged = logged
        self._longest = replace(wish, days=len(mornings.speed))
        self._found: list[Alternative] = []
        self._not_worked_out: list[str] = []

    def ways_out(self) -> WaysOut:
        fixed, rest = self._wish.fixed, self._wish.rest
        self._try(self._longest, MoreDays)
        self._fewer_sessions()
        for moved in fixed.items():
            others = {d: t for d, t in fixed.items() if d != moved[0]}
            self._change({"fixed": others}, AnotherDay, instead_of=(Dated(*moved),))
        if fixed and not self._found:
            all_moved = tuple(Dated(*moved) for moved in fixed.items())
            self._change({"fixed": {}}, AnotherDay, instead_of=all_moved)
        for day in rest:
            self._change({"rest": tuple(r for r in rest if r != day)}, NoRestDay, on=day)
        return WaysOut(
            tuple(self._found), self._closest(), self._fixed_short(), tuple(self._not_worked_out)
        )

    def _space(self, wish: Wish) -> Space:
        return space_of(wish, self._mornings, self._logged)

    def _try(self, wish: Wish, way: type[Alternative], **facts: Any) -> bool:
        """Look for a plan; say whether there is one, or there is no telling."""
        space = self._space(wish)
        found = best_plan(space, WORK)
        if found.plan is not None:
            days = found.plan[-1].day + 1
            sessions = sessions_of(wish, space, found.plan)
            self._found.append(way(days=days, proven=found.proven, sessions=sessions, **facts))
        elif not found.proven:
            self._not_worked_out.append(way.kind)
        return found.plan is not None or not found.proven

    def _change(self, change: dict[str, Any], way: type[Alternative], **facts: Any) -> None:
        """Try a change within the days asked for; with more days if neither alone is enough."""
        longer_fits = any(isinstance(found, MoreDays) for found in self._found)
        if not self._try(replace(self._wish, **change), way, **facts) and not longer_fits:
            self._try(replace(self._longest, **change), way, **facts)

    def _fixed_short(self) -> tuple[Session, ...]:
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
                self._try(smaller, FewerSessions, left_out=names)
            if fitting:
                return
            if work < 0 or tried == MOST_SETS:
                self._not_worked_out.append(FewerSessions.kind)
                return

    def _without(self, left_out: tuple[int, ...]) -> Wish:
        kept = {
            label: count - fewer
            for (label, count), fewer in zip(self._wish.wanted.items(), left_out, strict=True)
        }
        return replace(self._wish, wanted=kept)

    def _closest(self) -> tuple[Session, ...] | None:
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
