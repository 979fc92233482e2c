"""What a search aims at: keys that rank plans, and bounds on them for plans half made.

A key is a tuple; the smaller, the better the plan.
"""

from __future__ import annotations

from functools import cache
from math import inf

from slackwater.fitting.spacing.space import Branch, Placed, Space, less

Key = tuple[float, ...]


class Earliest:
    """Seek the earliest finish."""

    must_meet = True  # every chance asked for
    settles_ties = False

    def __init__(self, space: Space) -> None:
        """Aim within a space."""
        self.space = space
        self.worst: Key = (float(space.days),)  # a plan must be better than that
        self.last_fixed = max(space.fixed, default=-1)
        self.shortest = cache(self._shortest)

    def stop(self, key: Key) -> int:
        """Return the first morning that no longer matters when a plan of this key is at hand."""
        return int(key[0])

    def bound(self, branch: Branch, child: Placed, left: tuple[int, ...]) -> Key:
        """Return a key that no plan that goes on like this goes below; its own at the end."""
        return (float(self.finish(child, left)),)

    def finish(self, child: Placed, left: tuple[int, ...]) -> int:
        """Return a day before which no plan that goes on like this can finish."""
        to_come = list(left)
        for day, kind in self.space.fixed.items():
            to_come[kind] += day > child.day
        return max(self.last_fixed, child.day + self.shortest(child.kind, tuple(to_come)))

    def _shortest(self, last: int, left: tuple[int, ...]) -> int:
        """Return days from a session of one type until the last of those left, at least."""
        ways = [
            self.space.gaps[last][kind] + self.shortest(kind, less(left, kind))
            for kind, count in enumerate(left)
            if count
        ]
        return min(ways, default=0)


class Best(Earliest):
    """Seek the best of the plans with the earliest finish."""

    settles_ties = True

    def __init__(self, space: Space, last: int) -> None:
        """Aim at plans that finish on the day `last`."""
        super().__init__(space)
        self.last = last

    def stop(self, key: Key) -> int:
        """Return the first morning that no longer matters."""
        return self.last + 1

    def bound(self, branch: Branch, child: Placed, left: tuple[int, ...]) -> Key:
        """Return finish, spread, minus the smallest margin, minus the sum of chances."""
        finish = self.finish(child, left)
        if finish > self.last:
            return (inf,)
        placed = (*branch.placed, child)
        to_come = sum(left) + sum(day > child.day for day in self.space.fixed)
        likely = sorted(branch.back[child.day - branch.day :], reverse=True)[:to_come]
        return (
            float(finish),
            float(self._spread(placed, to_come)),
            -min(map(self.space.margin, placed)),
            -float(sum(p.back for p in placed) + sum(likely)),
        )

    def _spread(self, placed: tuple[Placed, ...], to_come: int) -> int:
        """Return the smallest sum of squared gaps that such a plan can have."""
        day = placed[-1].day
        logged = [d for d in self.space.logged if d < self.last]
        done = sorted({*(p.day for p in placed), *(d for d in logged if d < day)})
        gaps = [after - before for before, after in zip([-1, *done], done, strict=False)]
        ahead = to_come + sum(d > day for d in logged)
        return sum(gap * gap for gap in gaps) + _even(self.last - day, ahead)


class Closest:
    """Seek the plan whose worst margin is the best."""

    must_meet = False
    settles_ties = False

    def __init__(self, space: Space) -> None:
        """Aim within a space."""
        self.space = space
        self.worst: Key = (inf,)

    def stop(self, key: Key) -> int:
        """Return the first morning that no longer matters."""
        return self.space.days

    def bound(self, branch: Branch, child: Placed, left: tuple[int, ...]) -> Key:
        """Return minus the smallest margin that such a plan can have at best."""
        space = self.space
        easiest = min((a for a, count in zip(space.asked, left, strict=True) if count), default=1.0)
        later = [
            back / space.mornings.draws - easiest
            for day, back in enumerate(branch.back, start=branch.day + 1)
            if day > child.day and day not in space.closed and day not in space.fixed
        ]
        if len(later) < sum(left):
            return (inf,)
        margins = [space.margin(p) for p in (*branch.placed, child)]
        return (-min(margins + sorted(later, reverse=True)[: sum(left)]),)


def _even(span: int, parts: int) -> int:
    """Return the smallest sum of squares of that many whole parts of a span."""
    if not parts:
        return 0
    whole, over = divmod(span, parts)
    return (parts - over) * whole**2 + over * (whole + 1) ** 2
