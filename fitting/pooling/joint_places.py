"""Where what athletes share stands in the vector that they and their group are sampled in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Shares(NamedTuple):
    """Where quantities that are shared stand among all athletes' parameters, E of them each.

    Attributes:
        at: place of the parameter, shape (E,).
        mean: the group's mean that it has, shape (E,).
        quantity: which of `SHARED` it is, shape (E,).
        centre: of what is believed of one athlete.
        scale: its SD.
    """

    at: Ints
    mean: Ints
    quantity: Ints
    centre: Floats
    scale: Floats

    @classmethod
    def of(cls, rows: list[tuple[int, int, int, float, float]]) -> Shares:
        """Take a row of five for each."""
        table = np.array(rows, float).reshape(-1, 5).T
        at, mean, quantity = table[:3].astype(np.int64)
        return cls(at, mean, quantity, table[3], table[4])


class Dips(NamedTuple):
    """The log dips of types that others have too, E of them in all, with P attribute values.

    Attributes:
        at: places of the log dips, shape (E,).
        mean: the group's means of their scores, shape (E,).
        middle: places of the athlete's mean over types, shape (E,).
        sd: places of the log SD between types, shape (E,).
        of: which of the log dips has an attribute value, shape (P,).
        value: place of that value's score, shape (P,).
        value_sd: place of the log of its SD, shape (P,).
    """

    at: Ints
    mean: Ints
    middle: Ints
    sd: Ints
    of: Ints
    value: Ints
    value_sd: Ints

    @classmethod
    def of_rows(cls, rows: list[tuple[int, int, int, int]], values: list[list[int]]) -> Dips:
        """Take rows of the first four, and for each the places of value and SD in turn."""
        of = np.repeat(np.arange(len(values)), [len(each) // 2 for each in values])
        pairs = np.array([place for each in values for place in each], int).reshape(-1, 2)
        at, mean, middle, sd = np.array(rows, int).reshape(-1, 4).T
        return cls(at, mean, middle, sd, of, pairs[:, 0], pairs[:, 1])


class TypeDips(NamedTuple):
    """How the group's log dips of its K types are sampled: places in the vector.

    A group's readings tell each type's log dip, and how types and how athletes differ in it. They
    tell less what all types have in common, and that goes along with everything else. So sampled
    are each type's mean as it is, and the logs of both SDs, in the places of the standard scores,
    of the share between athletes and of the SD of both together.

    Attributes:
        at: the types' means, shape (K,).
        middle: the mean over types.
        share: the share between athletes; here log of the SD between types.
        both: the log SD of both; here that between athletes.
        middle_share: the share between athletes of the mean over types.
        scale: the SD of what is believed of one athlete's mean over types.
        belief: mean and SD of the log SD of both.
    """

    at: Ints
    middle: int
    share: int
    both: int
    middle_share: int
    scale: float
    belief: Floats

    def taken(self, points: Floats) -> Floats:
        """Return points in which scores, share and SD of both stand in their places."""
        out = points.copy()
        of_types, of_athletes = points[..., self.share], points[..., self.both]
        out[..., self.share] = 2 * (of_athletes - of_types)
        log_both = 0.5 * np.logaddexp(2 * of_types, 2 * of_athletes)
        out[..., self.both] = (log_both - self.belief[0]) / self.belief[1]
        left = points[..., self.at] - self._middle(points)[..., None]
        out[..., self.at] = left * np.exp(-of_types)[..., None]
        return out

    def _middle(self, points: Floats) -> Floats:
        unknown = 1.0 / (1.0 + np.exp(points[..., self.middle_share]))
        return np.asarray(self.scale * np.sqrt(unknown) * points[..., self.middle])

    def given(self, point: Floats, taken: Floats, slopes: Floats) -> tuple[float, Floats]:
        """Return what the log density gains at a sampled point, and its slopes there.

        Args:
            point: as it is sampled.
            taken: the same as `taken` gives it.
            slopes: of the log density by what is taken.
        """
        out = slopes.copy()
        by_type, scores = slopes[self.at], taken[self.at]
        narrow = np.exp(-point[self.share])
        share = 1.0 / (1.0 + np.exp(-taken[self.share]))
        by_both = slopes[self.both] / self.belief[1]
        out[self.at] = by_type * narrow
        out[self.share] = (1 - share) * by_both - 2 * slopes[self.share]
        out[self.share] -= by_type @ scores + len(scores)
        out[self.both] = share * by_both + 2 * slopes[self.share]
        by_middle = -float(by_type.sum() * narrow)
        of_middle = 1.0 / (1.0 + np.exp(-point[self.middle_share]))
        out[self.middle] += by_middle * self.scale * np.sqrt(1 - of_middle)
        out[self.middle_share] -= 0.5 * by_middle * of_middle * float(self._middle(point))
        return -float(len(scores) * point[self.share]), out


def dips_of(
    labels: tuple[str | None, ...],
    at: dict[str, Ints],
    season: Season,
    where: dict[tuple[str, str | None], int],
) -> Iterator[tuple[tuple[int, int, int, int], list[int]]]:
    """Yield a row of an athlete's `Dips` for each type, and the places of its values."""
    values = at.get(n.ATTRIBUTE_DIP, ())
    for place, label, has in zip(
        at[n.TYPE_LOG_DIP], labels, design_of(season).type_has_value, strict=True
    ):
        mean = where.get((n.TYPE_LOG_DIP, label), -1)
        if mean >= 0:
            pairs = [
                int(each)
                for value, there in zip(values, has, strict=True)
                if there
                for each in (value, at[n.ATTRIBUTE_DIP_SD][0])
            ]
            middle, sd = at[n.TYPE_DIP_MEAN][0], at[n.TYPE_DIP_SD][0]
            yield (int(place), mean, int(middle), int(sd)), pairs
