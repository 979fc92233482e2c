"""Which of all athletes' parameters the group tells of, and how they hang together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.sampling.machine_code import MachineCode
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.population import SHARED, prior_of
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOBODY: Final = -1  # in the place of a group's mean: no other athlete has the label
NAMES: Final = tuple(each.name for each in SHARED)
# The log SD of a family's members among an athlete's parameters; all athletes have the group's.
FAMILY_SD: Final = {
    n.TYPE_LOG_DIP: n.TYPE_DIP_SD,
    n.TYPE_LOG_RATE: n.TYPE_RATE_SD,
    n.ATTRIBUTE_DIP: n.ATTRIBUTE_DIP_SD,
    n.ATTRIBUTE_RATE: n.ATTRIBUTE_RATE_SD,
}
# What readings know through types' log dips alone: it is drawn given these.
OF_DIPS: Final = frozenset({n.TYPE_DIP_MEAN, n.TYPE_LOG_DIP, n.ATTRIBUTE_DIP})
_SCORES: Final = {n.TYPE_LOG_RATE: n.TYPE_RATE_Z}  # what an athlete's parameters hold of it


class Rows(NamedTuple):
    """What the group tells of among all athletes' parameters: a row each, R of them.

    Attributes:
        athlete: whose, shape (R,).
        quantity: which of `SHARED`.
        mean: which of the group's means; `NOBODY` where it is the athlete's alone.
        at: place of the parameter.
        centre: of what is believed of one athlete: its standard score is (x - centre) / scale.
        scale: its SD.
        dips: which rows are log dips of types, D of them, whose centre and scale are parameters.
        middle: places of their centres, the means over types, shape (D,).
        sd: places of the logs of their scales, shape (D,).
        of: which of the D an attribute's value adds to, a pair of both each, shape (P,).
        value: place of the value's score, shape (P,).
        value_sd: place of the log of its SD, shape (P,).
    """

    athlete: Ints
    quantity: Ints
    mean: Ints
    at: Ints
    centre: Floats
    scale: Floats
    dips: Ints
    middle: Ints
    sd: Ints
    of: Ints
    value: Ints
    value_sd: Ints

    def scores(self, parameters: Floats) -> Floats:
        """Return the standard scores of all rows, shape (R,), of parameters."""
        t = (parameters[self.at] - self.centre) / self.scale
        sd = np.exp(parameters[self.sd])
        apart = parameters[self.at[self.dips]] - parameters[self.middle]
        t[self.dips] = (apart - self.added(parameters)) / sd
        return t

    def added(self, parameters: Floats) -> Floats:
        """Return what attributes' values add to each log dip, shape (D,)."""
        added = np.exp(parameters[self.value_sd]) * parameters[self.value]
        return np.asarray(np.bincount(self.of, added, len(self.dips)), float)


def labels_of(season: Season) -> dict[str, tuple[str | None, ...]]:
    """Return a season's labels of each quantity of `SHARED`; one None where it has none."""
    of_dim = {
        n.TYPE: season.types,
        n.ATTRIBUTE_VALUE: design_of(season).attribute_values,
        n.INTERVENTION: season.interventions,
        n.STRESSOR: season.stressors,
    }
    return {each.name: tuple(of_dim[each.dim]) if each.dim else (None,) for each in SHARED}


def places_of(code: MachineCode, start: int) -> dict[str, Ints]:
    """Return the places of an athlete's parameters among those of all, by quantity's name.

    Args:
        code: the athlete's.
        start: place of the first.
    """
    starts = start + np.cumsum([0, *code.lengths])
    found = {
        name.removesuffix("_log__"): np.arange(a, b)
        for name, a, b in zip(code.names, starts, starts[1:], strict=False)
    }
    return found | {name: found[held] for name, held in _SCORES.items() if held in found}


def shared_by(
    labels: Sequence[dict[str, tuple[str | None, ...]]], places: Sequence[dict[str, Ints]]
) -> tuple[tuple[str, str | None], ...]:
    """Return what has a mean of the group's: what is no label's, and labels of two athletes."""
    counts: dict[tuple[str, str | None], int] = {}
    for has, at in zip(labels, places, strict=True):
        for name in NAMES:
            if name in at:
                for label in has[name]:
                    counts[name, label] = counts.get((name, label), 0) + 1
    return tuple(key for key, count in counts.items() if key[1] is None or count > 1)


def rows_of(
    seasons: Sequence[Season],
    places: Sequence[dict[str, Ints]],
    shared: Sequence[tuple[str, str | None]],
    priors: Priors,
) -> Rows:
    """Return the rows of all athletes, one athlete after the other.

    Args:
        seasons: one an athlete.
        places: theirs.
        shared: what has a mean of the group's.
        priors: what is believed of one athlete.
    """
    where = {key: place for place, key in enumerate(shared)}
    rows: list[tuple[int, int, int, int]] = []
    beliefs: list[tuple[float, float]] = []
    dips: list[tuple[int, int, int]] = []
    values: list[tuple[int, int, int]] = []
    for athlete, (season, at) in enumerate(zip(seasons, places, strict=True)):
        labels, has_value = labels_of(season), design_of(season).type_has_value
        for number, each in enumerate(SHARED):
            if each.name not in at:
                continue
            belief = (0.0, 1.0) if each.family else prior_of(each, priors)
            for member, (place, label) in enumerate(
                zip(at[each.name], labels[each.name], strict=True)
            ):
                if each.name == n.TYPE_LOG_DIP:
                    values += [
                        (len(dips), int(value), int(at[n.ATTRIBUTE_DIP_SD][0]))
                        for value, has in zip(
                            at.get(n.ATTRIBUTE_DIP, ()), has_value[member], strict=True
                        )
                        if has
                    ]
                    middle, sd = at[n.TYPE_DIP_MEAN][0], at[n.TYPE_DIP_SD][0]
                    dips.append((len(rows), int(middle), int(sd)))
                mean = where.get((each.name, label), NOBODY)
                rows.append((athlete, number, mean, int(place)))
                beliefs.append((belief[0], belief[1]))
    return Rows(
        *np.array(rows, np.int64).reshape(-1, 4).T,
        *np.array(beliefs, float).reshape(-1, 2).T,
        *np.array(dips, np.int64).reshape(-1, 3).T,
        *np.array(values, np.int64).reshape(-1, 3).T,
    )
