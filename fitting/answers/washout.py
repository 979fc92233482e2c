"""Rest to baseline: the days still needed, the way so far, and what would spoil it.

Before a season can be fitted the same is answered from the priors alone: general experience,
not about this athlete.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about, about_season
from slackwater.fitting.answers.baseline import (
    FLAT_CHANCE,
    FLAT_NIGHTS_NEEDED,
    Plateau,
    chance_at_baseline,
    plateau,
)
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval, intervals
from slackwater.fitting.answers.rest import (
    Condition,
    Rest,
    RestSoFar,
    conditions,
    rest_of,
    rest_so_far,
    rise,
)
from slackwater.fitting.state.ahead import FARTHEST, dips_ahead
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.back import FOUR_IN_FIVE, check_chance, first_back
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints, threshold_of
from slackwater.model.errors import QuestionError, Reason
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, Season

SURE: Final = 0.9  # of being at baseline, before it counts as known
DEFAULT_DAYS: Final = 7
LONGEST_LOOK_BACK: Final = 28  # mornings shown
REST_READINGS: Final = 7
MISSING_ALLOWED: Final = 0.25  # share of the nights of rest
KNOWN_LEVEL: Final = 0.8  # of baseline's range, whatever level is shown
_PRIOR_DRAWS: Final = 40_000
_PRIOR_SEED: Final = 1


@dataclass(frozen=True)
class Wanted:
    """One thing that baseline needs to count as known.

    Attributes:
        what: baseline_half_width_ln, rest_nights_read, share_missing or chance_at_baseline.
        have: how much there is.
        want: how much is enough.
        met: whether it is.
    """

    what: str
    have: float
    want: float
    met: bool


@dataclass(frozen=True, kw_only=True)
class Washout(Answer):
    """How many more days of complete rest lead to baseline.

    Attributes:
        basis: "posterior": from this season; "priors": from general experience, before a fit.
        chance_wanted: the chance of being at baseline that is waited for.
        further_rest_days: whole days until it is there; None beyond 60 after the last session.
        chance_at_baseline: the chance this morning.
        rest: how long rest has lasted.
        coming: dimension `night`, the coming mornings: `chance_at_baseline`; `dip_left_ln` (with
            `bound`).
        conditions: what makes a washout valid, against the log.
        common_practice: how long is usual.
    """

    basis: str
    chance_wanted: float
    further_rest_days: int | None
    chance_at_baseline: float
    rest: RestSoFar
    coming: xr.Dataset
    conditions: tuple[Condition, ...]
    common_practice: Reason = Reason("common practice of rest")


@dataclass(frozen=True, kw_only=True)
class LearntWashout(Washout):
    """The same of an athlete whose season was fitted, and how rest has gone.

    Attributes:
        threshold_ln: the smallest dip worth acting on, middle estimate, ln.
        baseline_rmssd_ms: baseline.
        plateau: whether rest has done its work.
        past: dimension `night`, the mornings since the last session or stressor: `rmssd_ms` (NaN
            where not read), `dip_left_ln` (with `bound`), `chance_flat`, `by_model` ("flat", "not
            flat"), `rise_ln` (mean of the last three readings minus the three before, NaN where
            there are fewer), `by_plain_rule` ("rising", "no rise", "cannot say").
        model_rule: when a night is flat by the model.
        plain_rule: when readings do not rise by the plain rule.
        wanted: what baseline needs to count as known.
    """

    threshold_ln: float
    baseline_rmssd_ms: Interval
    plateau: Plateau
    past: xr.Dataset
    model_rule: Reason = Reason("flat by the model", chance=FLAT_CHANCE, nights=FLAT_NIGHTS_NEEDED)
    plain_rule: Reason = Reason("flat by the plain rule")
    wanted: tuple[Wanted, ...]


@dataclass(frozen=True, kw_only=True)
class UsualWashout(Washout):
    """The same by general experience.

    Attributes:
        rest_days_in_all: whole days that rest from an unknown start takes; None beyond 60.
        rested_days: how many of them have passed; below 0 where a session is still to be felt.
    """

    rest_days_in_all: int | None
    rested_days: int


def washout(
    athlete: Athlete,
    days: int = DEFAULT_DAYS,
    chance: float = FOUR_IN_FIVE,
    level: float = DEFAULT_LEVEL,
) -> LearntWashout | UsualWashout:
    """Answer how many more days of complete rest lead to baseline, and how rest has gone.

    Where there is no posterior yet, the priors alone answer. Whatever weighs on the athlete when
    rest begins, the last session included, is then taken for an unlogged start. A few readings
    do; how high they are plays no part.

    Args:
        athlete: the season and what was learnt of it, if anything.
        days: how many coming mornings to show, 1 to 60.
        chance: the chance of being at baseline that is waited for, above 0 and at most 0.99.
        level: credible mass of every interval.

    Raises:
        QuestionError: no day, or more than 60, or no such chance asked for.
    """
    if not 1 <= days <= FARTHEST:
        raise QuestionError(f"A washout looks 1 to {FARTHEST} days ahead, not {days}.")
    check_chance(chance)
    if athlete.fitted:
        return _learnt(athlete.now, days, chance, level)
    return _usual(athlete.season, days, chance, level)


def _learnt(now: Standing, days: int, chance: float, level: float) -> LearntWashout:
    rest = rest_of(now.season)
    head = about(now, level, rest.warnings)
    dips, _, dates = dips_ahead(now, max(days, rest.reach + FARTHEST))
    chance_now = chance_at_baseline(now)
    coming = _coming(dates, dips, now.threshold[:, None], level)
    chances = coming["chance_at_baseline"].values
    baseline = now.baseline
    threshold = float(np.median(now.threshold))
    low, _, high = interval(baseline, KNOWN_LEVEL)
    return LearntWashout(
        head,
        basis="posterior",
        chance_wanted=chance,
        further_rest_days=first_back(np.append(chance_now, chances), chance, rest.reach),
        chance_at_baseline=chance_now,
        rest=rest_so_far(rest),
        coming=coming.isel({n.NIGHT: slice(days)}),
        conditions=conditions(now.season, rest),
        threshold_ln=threshold,
        baseline_rmssd_ms=interval(np.exp(baseline), level),
        plateau=plateau(now),
        past=_past(now, rest.quiet, threshold, level),
        wanted=_wanted(rest, (high - low) / 2, threshold, chance_now),
    )


def _usual(season: Season, days: int, chance: float, level: float) -> UsualWashout:
    rest = rest_of(season)
    head = about_season(season, level, [Reason("general experience"), *rest.warnings])
    rested = -rest.reach if rest.reach else len(season.nights) - 1 - rest.quiet
    dip, rate, threshold = _from_priors(Priors(), season.threshold_percent)

    def dips_after(passed: Ints) -> Floats:
        return dip * np.exp(-rate * np.maximum(passed, 0))

    in_all = first_back((dips_after(np.arange(FARTHEST + 1)) <= threshold).mean(axis=0), chance)
    ahead = np.arange(1, days + 1)
    return UsualWashout(
        head,
        basis="priors",
        chance_wanted=chance,
        further_rest_days=None if in_all is None else max(in_all - rested, 0),
        chance_at_baseline=float((dips_after(np.array([rested])) <= threshold).mean()),
        rest=rest_so_far(rest),
        coming=_coming(
            season.last_night + DAY * ahead, dips_after(rested + ahead), threshold, level
        ),
        conditions=conditions(season, rest),
        rest_days_in_all=in_all,
        rested_days=rested,
    )


def _coming(
    dates: NDArray[np.datetime64], dips: Floats, threshold: Floats, level: float
) -> xr.Dataset:
    """Return the dips to come, of shape (S, H), as an answer has them."""
    return xr.Dataset(
        {
            "chance_at_baseline": (n.NIGHT, (dips <= threshold).mean(axis=0)),
            "dip_left_ln": intervals(dips, level, (n.NIGHT,)),
        },
        coords={n.NIGHT: dates.astype("datetime64[ns]")},
    )


def _past(now: Standing, quiet: int, threshold: float, level: float) -> xr.Dataset:
    """Return the mornings from the night `quiet` on, the latest weeks of them."""
    mornings = now.season.nights[quiet:][-LONGEST_LOOK_BACK:]
    dips = now.dips_before(mornings).sum(axis=2)
    readings = now.season.data[n.LOG_RMSSD].values[-len(mornings) :]
    flat = (dips <= now.threshold[:, None]).mean(axis=0)
    rising = rise(readings, now.season.data[n.NIGHT_SENSOR].values[-len(mornings) :])
    by_plain_rule = np.where(rising > threshold, "rising", "no rise")
    return xr.Dataset(
        {
            "rmssd_ms": (n.NIGHT, np.exp(readings)),
            "dip_left_ln": intervals(dips, level, (n.NIGHT,)),
            "chance_flat": (n.NIGHT, flat),
            "by_model": (n.NIGHT, np.where(flat >= FLAT_CHANCE, "flat", "not flat")),
            "rise_ln": (n.NIGHT, rising),
            "by_plain_rule": (n.NIGHT, np.where(np.isnan(rising), "cannot say", by_plain_rule)),
        },
        coords={n.NIGHT: mornings.astype("datetime64[ns]")},
    )


def _from_priors(priors: Priors, threshold_percent: float | None) -> tuple[Floats, Floats, Floats]:
    """Return draws of the unlogged start's dip and rate, and of the threshold, (draws, 1)."""
    rng = np.random.default_rng(_PRIOR_SEED)

    def draws(belief: Belief) -> Floats:
        return np.exp(belief.mean + belief.sd * rng.standard_normal((_PRIOR_DRAWS, 1)))

    dip, rate = draws(priors.start_dip), draws(priors.start_rate)
    return dip, rate, threshold_of(draws(priors.noise_sd), threshold_percent)


def _wanted(rest: Rest, half_width: float, threshold: float, chance: float) -> tuple[Wanted, ...]:
    """Return what baseline needs to count as known."""
    missing = rest.missing / max(rest.missing + rest.read, 1)
    sure = chance >= SURE and not rest.reach
    return (
        Wanted("baseline_half_width_ln", half_width, threshold, half_width <= threshold),
        Wanted("rest_nights_read", rest.read, REST_READINGS, rest.read >= REST_READINGS),
        Wanted("share_missing", missing, MISSING_ALLOWED, missing <= MISSING_ALLOWED),
        Wanted("chance_at_baseline", chance, SURE, sure),
    )
