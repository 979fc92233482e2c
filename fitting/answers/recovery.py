"""How many days each session type takes to recover from."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.support import confounded_types, session_counts, thin_types
from slackwater.fitting.state.standing import THRESHOLD_RULE, Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, days_to_recover
from slackwater.model.errors import NoAnswerError
from slackwater.model.priors import LN_2

CHANCES: Final = (0.5, 0.8, 0.9)
SHORTEST_SHOWN: Final = 7
LONGEST_SHOWN: Final = 30


def typical_days(now: Standing) -> Floats:
    """Return days to recover from each type's typical session at dose 1, shape (S, K)."""
    return _days(now, np.exp(log_dips(now)))


def next_session_days(now: Standing) -> Floats:
    """Return the same for one more session of it, scatter between sessions included."""
    log_dip = log_dips(now)
    scatter = now.rng().standard_normal(log_dip.shape) * now.parameter(n.SESSION_SD)[:, None]
    return _days(now, np.exp(log_dip + scatter))


def log_dips(now: Standing) -> Floats:
    """Return the log of the dip that decays, of each type's typical session, shape (S, K)."""
    return now.typical_dips()[:, : now.draws.sizes[n.TYPE]]


def _days(now: Standing, dip: Floats) -> Floats:
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE))
    return days_to_recover(dip, now.threshold[:, None], rate)


def recovery(now: Standing, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer how many days each session type takes to recover from.

    Args:
        now: the state, from `standing`.
        level: credible mass of every interval.

    Returns:
        Dimension `type` (those that can be answered), `bound`, `chance`, `day`:
        `dip_ln` (ln), `half_life_days`, `typical_days` (knowledge alone),
        `next_session_days` (scatter between sessions included), `days_for_chance` (whole
        days until such a share of sessions is recovered, NaN beyond 30), `chance_by_day`,
        `dip_left_ln` (of the typical session, on each day's morning, with `bound`),
        `sessions`; scalars `threshold_ln` and `threshold_percent`. Attribute `refused`
        lists types without an answer, and why.

    Raises:
        NoAnswerError: no type can be answered.
    """
    if n.TYPE_LOG_DIP not in now.draws:
        raise NoAnswerError(
            "No session is logged that a reading could show, so there is nothing to learn "
            "days to recover from. Log sessions in sessions.csv (date, type)."
        )
    types = [str(t) for t in now.draws[n.TYPE].values]
    counts = session_counts(now)
    refused = confounded_types(now)
    kept = [i for i, t in enumerate(types) if t not in refused]
    if not kept:
        raise NoAnswerError(" ".join(dict.fromkeys(refused.values())))
    next_days = next_session_days(now)[:, kept]
    chances = _chance_by_day(next_days)
    threshold = now.threshold
    half_life = LN_2 / np.exp(now.parameter(n.TYPE_LOG_RATE)[:, kept])
    data = xr.Dataset(
        {
            "sessions": (n.TYPE, [counts[types[i]] for i in kept]),
            "dip_ln": _by_type(np.exp(now.parameter(n.TYPE_LOG_DIP)[:, kept]), level),
            "half_life_days": _by_type(half_life, level),
            "typical_days": _by_type(typical_days(now)[:, kept], level),
            "next_session_days": _by_type(next_days, level),
            "days_for_chance": _days_for_chance(next_days),
            "chance_by_day": chances,
            "dip_left_ln": _dip_left(now, chances["day"], level).isel({n.TYPE: kept}),
            "threshold_ln": float(np.median(threshold)),
            "threshold_percent": float(100 * np.median(-np.expm1(-threshold))),
        },
        coords={n.TYPE: [types[i] for i in kept]},
    )
    warnings = [*dict.fromkeys(refused.values()), *thin_types(now, [types[i] for i in kept])]
    return answer(
        data, "recovery", now, level, warnings, threshold_rule=THRESHOLD_RULE, refused=refused
    )


def _by_type(draws: Floats, level: float) -> xr.DataArray:
    return interval(draws, level, (n.TYPE,))


def _chance_by_day(days: Floats) -> xr.DataArray:
    """Return the share of next sessions recovered by each whole day, (type, day)."""
    everyone = np.arange(1, LONGEST_SHOWN + 1)
    share = (days[:, :, None] <= everyone).mean(axis=0)
    sure = np.flatnonzero(share.min(axis=0) >= 0.95)
    last = max(SHORTEST_SHOWN, int(everyone[sure[0]]) if len(sure) else LONGEST_SHOWN)
    return xr.DataArray(share[:, :last], dims=(n.TYPE, "day"), coords={"day": everyone[:last]})


def _dip_left(now: Standing, days: xr.DataArray, level: float) -> xr.DataArray:
    """Return what is left of a typical session's dip on each day's morning, ln."""
    dip = np.exp(log_dips(now))[:, :, None]
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE))[:, :, None]
    left = interval(dip * np.exp(-rate * (days.values - 1)), level, (n.TYPE, "day"))
    return left.assign_coords(day=days)


def _days_for_chance(days: Floats) -> xr.DataArray:
    """Return the first whole day by which such a share is recovered, (type, chance)."""
    whole = np.quantile(days, CHANCES, axis=0, method="inverted_cdf").T
    reached = np.ceil(whole - 1e-9)
    reached[reached > LONGEST_SHOWN] = np.nan
    return xr.DataArray(reached, dims=(n.TYPE, "chance"), coords={"chance": list(CHANCES)})
