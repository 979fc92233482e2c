"""The looks at a season's residuals: by weekday, by nights since a session, and so on."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.describing.ahead import OneStepErrors
from slackwater.fitting.describing.scores import (
    Score,
    normal_scores,
    quantiles,
    score,
    share_below,
)
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.names import WEEKDAYS
from slackwater.model.season import Season

WEEKEND: Final = "weekend"
LATEST: Final = 5  # nights since a session, and more
SPANS: Final = ((1, 1), (2, 2), (3, 5))  # nights since a session of a type
FEWEST: Final = 5  # readings of a kind
REPLICATES: Final = 4000
_MONDAY: Final = 3  # days since 1970-01-01 of a Monday, less one week
_NIGHTS_OF_A_STRETCH: Final = 4
_LEAST: Final = 1e-3
_PARTS: Final = 8  # that are worked out one after the other, so that years fit into memory
_LINGERS: Final = 0.8  # weight of each night of a stretch over that of the night before

FAR: Final = 2.5  # standard deviations of an ordinary night

Mask = NDArray[np.bool_]
Kind = TypeVar("Kind", bound=Hashable)


class Mean(NamedTuple):
    """How readings of one kind lie.

    Attributes:
        readings: how many there are.
        score: of their mean error; its `sd` is in ln units.
    """

    readings: int
    score: Score


def means(errors: OneStepErrors, kinds: Mapping[Kind, Mask]) -> dict[Kind, Mean]:
    """Return how readings of each kind lie, where there are enough of them.

    Args:
        errors: R readings at S draws.
        kinds: which readings are of a kind, shape (R,) each.
    """
    return {
        kind: Mean(int(which.sum()), _mean(errors.error[:, which], errors.sd[:, which]))
        for kind, which in kinds.items()
        if which.sum() >= FEWEST
    }


def _mean(error: Floats, sd: Floats) -> Score:
    """Return the score of a mean weighted by what each reading is worth."""
    weight = 1 / sd
    total = np.sqrt((weight**2).sum(axis=1))
    return score((weight * error).sum(axis=1) / total, float((1 / total).mean()))


def by_weekday(dates: NDArray[np.datetime64]) -> dict[str, Mask]:
    """Return which readings are of which weekday's morning, and of the weekend's."""
    day = (dates.astype("datetime64[D]").astype(int) + _MONDAY) % 7
    names = {name: day == number for number, name in enumerate(WEEKDAYS)}
    return names | {WEEKEND: day >= WEEKDAYS.index("Saturday")}


def nights_since(season: Season, nights: Ints) -> tuple[Ints, list[set[str]]]:
    """Return how many nights ago the last session was on each of these, and of which types.

    Returns:
        Shape (R,), 1 on the first night that can show it, 0 before any; and the types.
    """
    felt: dict[int, set[str]] = {}
    types = season.data[n.SESSION_TYPE].values
    for night, label in zip(season.session_nights().tolist(), types, strict=True):
        felt.setdefault(night, set()).add(str(label))
    first = sorted(felt)
    latest = np.searchsorted(first, nights, side="right") - 1
    since = [night - first[k] + 1 if k >= 0 else 0 for night, k in zip(nights, latest, strict=True)]
    return np.array(since, int), [felt[first[k]] if k >= 0 else set() for k in latest]


def by_nights_since(since: Ints) -> dict[int, Mask]:
    """Return which readings are how many nights after a session, the last kind all later ones."""
    return {k: since == k if k < LATEST else since >= k for k in range(1, LATEST + 1)}


def by_type(
    since: Ints, of: list[set[str]], types: list[str]
) -> dict[tuple[str, tuple[int, int]], Mask]:
    """Return which readings are in which span of `SPANS` after a session of which type."""
    return {
        (label, span): np.array([label in each for each in of], bool)
        & (since >= span[0])
        & (since <= span[1])
        for label in types
        for span in SPANS
    }


def lag_1(errors: OneStepErrors, replicates: Floats) -> Score:
    """Return the score of the autocorrelation of errors from one night to the next."""
    pairs = np.flatnonzero(np.diff(errors.nights) == 1)

    def correlation(error: Floats) -> Floats:
        a, b = error[:, pairs], error[:, pairs + 1]
        return np.asarray((a * b).sum(axis=1) / np.sqrt((a**2).sum(axis=1) * (b**2).sum(axis=1)))

    return _replicated(correlation, errors.error, replicates)


def scatter(errors: OneStepErrors, replicates: Floats) -> Score:
    """Return the score of the log of later over earlier scatter of errors, as SD."""
    half = errors.error.shape[1] // 2

    def log_ratio(error: Floats) -> Floats:
        late, early = (error[:, half:] ** 2).mean(axis=1), (error[:, :half] ** 2).mean(axis=1)
        return np.asarray(np.log(late / early) / 2)

    return _replicated(log_ratio, errors.error, replicates)


def low_stretch(errors: OneStepErrors, replicates: Floats) -> Score:
    """Return the score of how low the lowest few nights in a row lie; above 0 is lower."""

    def lowest(error: Floats) -> Floats:
        return np.asarray(-_stretches(error, errors.nights).min(axis=1))

    return _replicated(lowest, errors.error, replicates)


def lowest_stretch(errors: OneStepErrors) -> int:
    """Return the index of the night that the lowest stretch starts with."""
    return int(_stretches(errors.error, errors.nights).mean(axis=0).argmin())


def _stretches(error: Floats, nights: Ints) -> Floats:
    """Return the weighted sum of the errors from each night on, shape (S, nights)."""
    count = nights[-1] + 1
    by_night = np.zeros((len(error), count + _NIGHTS_OF_A_STRETCH - 1))
    by_night[:, nights] = error
    weights = _LINGERS ** np.arange(_NIGHTS_OF_A_STRETCH)
    shifted = [w * by_night[:, i : i + count] for i, w in enumerate(weights)]
    return np.asarray(np.sum(shifted, axis=0))


def far_nights(errors: OneStepErrors) -> tuple[int, int]:
    """Return how many nights lie far below, and how many far above, what was foretold."""
    far = (errors.error * errors.scale).mean(axis=0)
    return int((far < -FAR).sum()), int((far > FAR).sum())


def lopsided(errors: OneStepErrors) -> Score:
    """Return the score of far errors that are low rather than high; below 0 is low.

    Given their sizes, each error is as likely above as below.
    """
    far = errors.error * errors.scale
    square = far**2
    return score((np.sign(far) * square).sum(axis=1) / np.sqrt((square**2).sum(axis=1)))


def furthest(errors: OneStepErrors, tail: Floats) -> Score:
    """Return the score of the furthest error of all; above 0 is further.

    Args:
        errors: R readings at S draws.
        tail: SD of a night's log noise variance, shape (S,).
    """
    most = np.abs(errors.error * errors.scale).max(axis=1)
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    within = 2 * share_below(most[:, None] * np.exp(-tail[:, None] * nodes / 2)) - 1
    share = within @ (weights / weights.sum())
    return score(quantiles(share ** errors.error.shape[1]))


def furthest_night(errors: OneStepErrors) -> int:
    """Return the index of the night whose error is the furthest."""
    return int(errors.nights[np.abs((errors.error * errors.scale).mean(axis=0)).argmax()])


def dose_power(season: Season, session_z: Floats, session_sd: Floats) -> Score | None:
    """Return the score of dips that grow otherwise than in proportion to the dose.

    Args:
        season: the fitted season.
        session_z: each session's own deviation, standard normal, shape (S, I).
        session_sd: its standard deviation as log dip, shape (S,).

    Returns:
        The score of the power of the dose less 1; None where doses hardly differ.
    """
    log_dose = np.log(season.data[n.DOSE].values)
    told = np.maximum(1 - session_z.var(axis=0), _LEAST)  # what readings say of each by itself
    types = season.data[n.SESSION_TYPE].values
    apart = log_dose.copy()
    for label in set(types):
        of_it = types == label
        apart[of_it] -= np.average(log_dose[of_it], weights=told[of_it])
    if (np.abs(apart) > 1e-9).sum() < FEWEST:
        return None
    weight = apart * told
    total = np.sqrt((weight**2).sum())
    found = score(session_z @ weight / total)
    of_one = (weight * told * apart).sum() / total / session_sd.mean()  # the mean at a power of 2
    return found._replace(sd=float(found.sd / of_one))


def _replicated(
    discrepancy: Callable[[Floats], Floats], error: Floats, replicates: Floats
) -> Score:
    expected, found = (
        np.concatenate([discrepancy(part) for part in np.array_split(many, _PARTS)])
        for many in (replicates, error)
    )
    observed = normal_scores(found, expected)
    return score(observed, float(expected.std()))
