"""What gives, where a plan cannot meet its chances: each way out worked out as a plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import islice
from math import prod
from typing import Any, Final, NamedTuple

from slackwater.fitting.records.plans import Session
from slackwater.fitting.spacing.mornings import Mornings
from slackwater.fitting.spacing.search import best_plan, closest_plan, earliest_plan
from slackwater.fitting.spacing.session import Dated
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
        hardest: the session of the closest plan that falls short the most.
        more_days_help: whether more days alone are enough; None where not worked out.
    """

    alternatives: tuple[Alternative, ...] = ()
    closest: tuple[Session, ...] | None = None
    fixed_short: tuple[Session, ...] = ()
    not_worked_out: tuple[str, ...] = ()
    hardest: Session | None = None
    more_days_help: bool | None = None


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


@dataclass
class _Trying:
    """One way out after the other."""

    _wish: Wish
    _mornings: Mornings
    _logged: list[dt.date]
    _found: list[Alternative] = field(default_factory=list)
    _not_worked_out: list[str] = field(default_factory=list)

    def ways_out(self) -> WaysOut:
        self._longest = replace(self._wish, days=len(self._mornings.speed))
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
        closest, not_worked_out = self._closest(), tuple(self._not_worked_out)
        more_days_help = any(isinstance(way, MoreDays) for way in self._found)
        return WaysOut(
            tuple(self._found),
            closest,
            self._fixed_short(),
            not_worked_out,
            hardest=min(closest or (), key=lambda s: s.chance - s.asked, default=None),
            more_days_help=None if MoreDays.kind in not_worked_out else more_days_help,
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
        alone = self._without(self._wish.free().values())
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
                work -= found.branches * space.mornings.unplanned.size
                tried += 1
                if found.plan is not None:
                    fitting.append((smaller, left_out))
                if work < 0 or tried == MOST_SETS:
                    break
            for smaller, left_out in fitting[:MOST_SHOWN]:
                by_type = zip(self._wish.wanted, left_out, strict=True)
                self._try(smaller, FewerSessions, left_out={t: k for t, k in by_type if k})
            if fitting:
                return
            if work < 0 or tried == MOST_SETS:
                self._not_worked_out.append(FewerSessions.kind)
                return

    def _without(self, left_out: Iterable[int]) -> Wish:
        by_type = zip(self._wish.wanted.items(), left_out, strict=True)
        return replace(self._wish, wanted={t: count - fewer for (t, count), fewer in by_type})

    def _closest(self) -> tuple[Session, ...] | None:
        space = self._space(self._wish)
        found = closest_plan(space, WORK)
        return sessions_of(self._wish, space, found.plan) if found.plan and found.proven else None


def _ways(free: list[int], fewer: int) -> Iterator[tuple[int, ...]]:
    """Yield how many of each type to leave out, so many in all; the last types first."""
    if len(free) == 1:
        if fewer <= free[0]:
            yield (fewer,)
        return
    for here in range(min(free[0], fewer) + 1):
        for rest in _ways(free[1:], fewer - here):
            yield (here, *rest)
