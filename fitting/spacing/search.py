"""The search for a plan: exact, by branch and bound over days, all draws at once.

A branch is a plan so far: sessions on days, in order of time. It grows by the next session
on any later open day on which the chance asked for is met: more sessions before a morning
never raise its chance, draw by draw, so what fails now fails whatever is added. A branch is
cut when even its bound is no better than the best plan found.

Best means, in this order: the earliest finish; the most even spacing (the smallest sum of
squared gaps between training days, the first gap counted from the day before the plan);
the largest smallest margin of a chance over the one asked for; the largest sum of chances;
the earliest days, types in the order in which they were asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from slackwater.fitting.spacing.aims import Best, Closest, Earliest, Key
from slackwater.fitting.spacing.space import Branch, Placed, Space, less
from slackwater.model.dynamics import Floats

WORK: Final = 3e8  # draws times mornings looked at in one search: some seconds
_EACH: Final = 5_000  # what a branch costs beside them


class Found(NamedTuple):
    """What a search found.

    Attributes:
        plan: the sessions in order of time; None where there is no such plan.
        proven: whether the search came to its end; if not, there may be a (better) plan.
        branches: how many were looked at.
    """

    plan: tuple[Placed, ...] | None
    proven: bool
    branches: int


def best_plan(space: Space, work: float = WORK) -> Found:
    """Return the best plan that meets every chance."""
    first = earliest_plan(space, work)
    if first.plan is None:
        return first
    search = _Search(space, Best(space, first.plan[-1].day), work)
    search.begin_with(first.plan)
    found = search.run()
    return Found(found.plan, first.proven and found.proven, first.branches + found.branches)


def earliest_plan(space: Space, work: float = WORK) -> Found:
    """Return a plan that meets every chance and finishes as early as any does."""
    return _Search(space, Earliest(space), work).run()


def closest_plan(space: Space, work: float = WORK) -> Found:
    """Return the plan whose worst margin is the best, whether it meets the chances or not."""
    return _Search(space, Closest(space), work).run()


class _Search:
    """Depth first, the most promising child first, within a bound on the work."""

    def __init__(self, space: Space, aim: Earliest | Closest, work: float) -> None:
        self.space = space
        self.aim = aim
        self.work = work
        self.last_fixed = max(space.fixed, default=-1)
        self.plan: tuple[Placed, ...] | None = None
        self.key = aim.worst
        self.branches = 0

    def begin_with(self, plan: tuple[Placed, ...]) -> None:
        """Take a plan that is known as the one to be bettered."""
        none_left = (0,) * len(self.space.free)
        before = Branch(plan[:-1], none_left, self.space.mornings.unplanned[:0], [])
        self.plan, self.key = plan, self.aim.bound(before, plan[-1], none_left)

    def run(self) -> Found:
        """Search to the end, or until the work is used up."""
        totals = self.space.mornings.unplanned[: self.aim.stop(self.key)]
        try:
            self._grow(Branch((), self.space.free, totals, self._back(totals)))
        except _OutOfWork:
            return Found(self.plan, False, self.branches)
        return Found(self.plan, True, self.branches)

    def _back(self, totals: Floats) -> list[int]:
        self.branches += 1
        self.work -= totals.size + _EACH
        if self.work < 0:
            raise _OutOfWork
        return self.space.mornings.recovered(totals)

    def _grow(self, branch: Branch) -> None:
        """Try every next session, the one with the best bound first."""
        children = []
        for child in self._children(branch):
            fixed = child.day in self.space.fixed
            left = branch.left if fixed else less(branch.left, child.kind)
            children.append((self.aim.bound(branch, child, left), child, left))
        for bound, child, left in sorted(children):
            if bound > self.key:
                break
            placed = (*branch.placed, child)
            if not self._may_win(bound, placed):
                continue
            if any(left) or child.day < self.last_fixed:
                self._grow(self._after(branch, child, left))
            else:
                self.plan, self.key = placed, bound

    def _children(self, branch: Branch) -> Iterator[Placed]:
        space = self.space
        to_place = [kind for kind, count in enumerate(branch.left) if count]
        for day, back in enumerate(branch.back, start=branch.day + 1):
            fixed = day in space.fixed
            for kind in [space.fixed[day]] if fixed else [] if day in space.closed else to_place:
                child = Placed(day, kind, back)
                if not self.aim.must_meet or space.margin(child) >= 0:
                    yield child
            if fixed:  # which cannot be passed over
                return

    def _may_win(self, bound: Key, placed: tuple[Placed, ...]) -> bool:
        """Say whether a plan that goes on like this can be better than the one at hand."""
        if bound != self.key or self.plan is None:
            return bound < self.key
        return self.aim.settles_ties and _order(placed) <= _order(self.plan)[: len(placed)]

    def _after(self, branch: Branch, child: Placed, left: tuple[int, ...]) -> Branch:
        which = sum(p.kind == child.kind for p in branch.placed)
        stop = self.aim.stop(self.key)
        added = self.space.mornings.added(child.kind, which, child.day, stop)
        totals = branch.totals[child.day - branch.day : stop - branch.day - 1] + added
        return Branch((*branch.placed, child), left, totals, self._back(totals))


class _OutOfWork(Exception):  # noqa: N818 - no error: the search ends here
    pass


def _order(placed: tuple[Placed, ...]) -> list[tuple[int, int]]:
    return [(p.day, p.kind) for p in placed]
