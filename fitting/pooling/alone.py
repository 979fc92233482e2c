"""What is kept of an athlete who was fitted alone, for pooling: draws, no reading and no name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.errors import QuestionError
from slackwater.model.population import SHARED, Shared
from slackwater.model.priors import Priors
from slackwater.model.season import Season

Floats = NDArray[np.float64]

MOST: Final = 1000  # draws kept of an athlete, where there are many
_IN_ALL: Final = 100_000  # of few athletes more are kept, and what is said of each is the surer
# What readings do not know but through types' own dips and rates; where what nobody logged passes
# at the mean over types, they know that too.
THROUGH_TYPES: Final = {
    n.TYPE_DIP_MEAN,
    n.TYPE_RATE_MEAN,
    n.ATTRIBUTE_DIP,
    n.ATTRIBUTE_RATE,
}


@dataclass(frozen=True)
class Alone:
    """Draws of what an athlete's readings tell of, S of them.

    Attributes:
        labels: by quantity of `SHARED` that is indexed: the athlete's labels, by the squad's names.
        values: draws, shape (S, M), each on the scale on which its prior is normal.
        columns: what each of the M columns is: quantity, and label where it is indexed.
        type_has_value: which type has which attribute value, shape (K, V).
        rows: which of the posterior's draws they are, shape (S,).
        priors: what was believed when they were drawn.
    """

    labels: Mapping[str, tuple[str, ...]]
    values: Floats
    columns: tuple[tuple[str, str | None], ...]
    type_has_value: Floats
    rows: NDArray[np.int64]
    priors: Priors

    def column(self, name: str, label: str | None = None) -> Floats:
        """Return draws of one quantity, shape (S,)."""
        return np.asarray(self.values[:, self.columns.index((name, label))])


def kept_of_each(athletes: int) -> int:
    """Return how many draws to keep of each of so many athletes."""
    return max(MOST, _IN_ALL // athletes)


def alone_of(
    posterior: Posterior,
    season: Season,
    names: Mapping[str, Mapping[str, str]] | None = None,
    *,
    most: int,
) -> Alone:
    """Return what is kept of a fitted season.

    Args:
        posterior: of the season; fitted alone, or again under what a group knows.
        season: the one that was fitted.
        names: the squad's names for the athlete's, where they differ: by kind (`type`,
            `intervention`, `stressor`, `attribute_value`), by the athlete's name.
        most: draws that are kept, evenly out of all.

    Raises:
        QuestionError: two names of the athlete are one name of the squad.
    """
    fitted = season.through(posterior.last_night)
    return alone_of_draws(posterior.draws, fitted, posterior.priors, names, most=most)


def alone_of_draws(
    draws: xr.Dataset,
    season: Season,
    priors: Priors,
    names: Mapping[str, Mapping[str, str]] | None = None,
    *,
    most: int,
) -> Alone:
    """Return the same of draws, dimension `sample` first, of the season's readings.

    Args:
        draws: of the posterior.
        season: up to its last reading.
        priors: what was believed when they were drawn.
        names: as for `alone_of`.
        most: draws that are kept, evenly out of all.

    Raises:
        QuestionError: two names of the athlete are one name of the squad.
    """
    every = draws.sizes["sample"]
    rows = np.unique(np.linspace(0, every - 1, min(most, every)).astype(int))
    hidden = THROUGH_TYPES - ({n.TYPE_RATE_MEAN} if n.UNLOGGED_DIP in draws else set())
    labels, columns, values = {}, [], []
    for each in SHARED:
        if each.dim is not None:
            labels[each.name] = _labels(draws, each.dim, (names or {}).get(each.dim, {}))
        if each.name in draws and each.name not in hidden:
            values.append(_values(draws, each, rows))
            columns += [(each.name, at) for at in labels.get(each.name, (None,))]
    return Alone(
        labels=labels,
        values=np.concatenate(values, axis=1),
        columns=tuple(columns),
        type_has_value=design_of(season).type_has_value,
        rows=rows,
        priors=priors,
    )


def _labels(draws: xr.Dataset, dim: str, names: Mapping[str, str]) -> tuple[str, ...]:
    """Return the squad's names along a dimension."""
    own = [str(label) for label in draws[dim].values] if dim in draws.coords else []
    found = tuple(names.get(label, label) for label in own)
    if len({*found}) < len(found):
        twice = next(label for label in found if found.count(label) > 1)
        raise QuestionError(
            f"Two of the athlete's names mean {twice!r} in the squad. Give each its own."
        )
    return found


def _values(draws: xr.Dataset, each: Shared, rows: NDArray[np.int64]) -> Floats:
    found = draws[each.name].values[rows].reshape(len(rows), -1)
    return np.log(found) if each.log else np.asarray(found, float)
