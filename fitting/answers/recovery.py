"""How many days each session type takes to recover from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, WHOLE_DAYS, intervals
from slackwater.fitting.answers.support import (
    confounded_types,
    session_counts,
    thin_types,
    types_in_a_row,
)
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, days_to_recover
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import LN_2

CHANCES: Final = (0.5, 0.8, 0.9)
SHORTEST_SHOWN: Final = 7
LONGEST_SHOWN: Final = 30


@dataclass(frozen=True)
class Threshold:
    """The smallest dip worth acting on.

    Attributes:
        ln_units: middle estimate, ln.
        percent: the same, of a reading.
        rule: what it is.
    """

    ln_units: float
    percent: float
    rule: Reason


@dataclass(frozen=True)
class Refused:
    """A type without an answer, and why."""

    type: str
    why: Reason


@dataclass(frozen=True)
class Recovery(Answer):
    """Days to recover, by session type.

    Attributes:
        threshold: the dip under which a session counts as recovered from.
        types: dimension `type` (those that can be answered), with `bound`, `chance`, `day`:
            `sessions`; `dip_ln` (ln); `half_life_days`; `typical_days` (knowledge alone);
            `next_session_days` (scatter between sessions included); `days_for_chance` (whole days
            until such a share of sessions is recovered, NaN beyond 30); `chance_by_day`;
            `dip_left_by_day_ln` (of the typical session, on each day's morning).
        refused: types without an answer.
    """

    threshold: Threshold
    types: xr.Dataset
    refused: tuple[Refused, ...]


def typical_days(now: Standing) -> Floats:
    """Return days to recover from each type's typical session at dose 1, shape (S, K)."""
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE))
    return days_to_recover(np.exp(now.log_dips()), now.threshold[:, None], rate)


def next_session_days(now: Standing) -> Floats:
    """Return the same for one more session of it, scatter between sessions included."""
    log_dip = now.log_dips()
    luck = np.stack([now.luck(label, 1)[0] for label in now.types], axis=1)
    scatter = luck * now.parameter(n.SESSION_SD)[:, None]
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE))
    return days_to_recover(np.exp(log_dip + scatter), now.threshold[:, None], rate)


def recovery(athlete: Athlete, level: float = DEFAULT_LEVEL) -> Recovery:
    """Answer how many days each session type takes to recover from.

    Args:
        athlete: the season and what was learnt of it.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: no type can be answered.
    """
    now = athlete.now
    if not now.types:
        raise NoAnswerError(Reason("no session shown"))
    why_not = confounded_types(now)
    kept = [i for i, label in enumerate(now.types) if label not in why_not]
    if not kept:
        raise NoAnswerError(*dict.fromkeys(why_not.values()))
    labels = [now.types[i] for i in kept]
    unclear = [*types_in_a_row(now), *thin_types(now, labels)]
    warnings = [*dict.fromkeys(why_not.values()), *unclear]
    return Recovery(
        about(now, level, warnings),
        threshold=threshold_of(now),
        types=_by_type(now, kept, level).assign_coords({n.TYPE: labels}),
        refused=tuple(Refused(label, why) for label, why in why_not.items()),
    )


def threshold_of(now: Standing) -> Threshold:
    """Return the smallest dip worth acting on."""
    return Threshold(
        ln_units=float(np.median(now.threshold)),
        percent=float(100 * np.median(-np.expm1(-now.threshold))),
        rule=now.threshold_rule,
    )


def _by_type(now: Standing, kept: list[int], level: float) -> xr.Dataset:
    counts = session_counts(now)
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE)[:, kept])
    next_days = next_session_days(now)[:, kept]
    by_day = _chance_by_day(next_days)
    passed = by_day["day"].values - 1
    left = np.exp(now.log_dips()[:, kept, None]) * np.exp(-rate[:, :, None] * passed)
    by_type = (n.TYPE,)
    return xr.Dataset(
        {
            "sessions": (n.TYPE, [counts[now.types[i]] for i in kept]),
            "dip_ln": intervals(np.exp(now.parameter(n.TYPE_LOG_DIP)[:, kept]), level, by_type),
            "half_life_days": intervals(LN_2 / rate, level, by_type),
            "typical_days": intervals(typical_days(now)[:, kept], level, by_type),
            "next_session_days": intervals(next_days, level, by_type),
            "days_for_chance": _days_for_chance(next_days),
            "chance_by_day": by_day,
            "dip_left_by_day_ln": intervals(left, level, (n.TYPE, "day")),
        }
    )


def _chance_by_day(days: Floats) -> xr.DataArray:
    """Return the share of next sessions recovered by each whole day, (type, day)."""
    everyone = np.arange(1, LONGEST_SHOWN + 1)
    share = (days[:, :, None] <= everyone).mean(axis=0)
    sure = np.flatnonzero(share.min(axis=0) >= 0.95)
    last = max(SHORTEST_SHOWN, int(everyone[sure[0]]) if len(sure) else LONGEST_SHOWN)
    return xr.DataArray(share[:, :last], dims=(n.TYPE, "day"), coords={"day": everyone[:last]})


def _days_for_chance(days: Floats) -> xr.DataArray:
    """Return the first whole day by which such a share is recovered, (type, chance)."""
    whole = np.quantile(days, CHANCES, axis=0, method="inverted_cdf").T
    reached = np.ceil(whole - 1e-9)
    reached[reached > LONGEST_SHOWN] = np.nan
    return xr.DataArray(
        reached,
        dims=(n.TYPE, "chance"),
        coords={"chance": list(CHANCES)},
        attrs={"units": WHOLE_DAYS},
    )
