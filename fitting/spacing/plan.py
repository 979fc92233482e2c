"""A dated plan for wanted sessions, each with a chance to be recovered before it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Unpack

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.support import confounded_types, thin_types
from slackwater.fitting.spacing.alternatives import WaysOut, sessions_of, space_of
from slackwater.fitting.spacing.mornings import Mornings, mornings_of
from slackwater.fitting.spacing.search import WORK, Found, best_plan
from slackwater.fitting.spacing.space import Space
from slackwater.fitting.spacing.wish import DEFAULT_DAYS, Options, Wish, make_wish
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.standing import THRESHOLD_RULE, Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY

PLAN_DAY: Final = "day"
PLANNED: Final = "planned"
FIXED: Final = "fixed"
LOGGED: Final = "logged"
REST: Final = "rest"
RULE: Final = (
    "at most one session a day; of the plans that meet every chance, the one that finishes "
    "first, then the most evenly spaced, then the one with the most to spare"
)


def plan_spacing(
    now: Standing,
    wanted: Mapping[str, int],
    days: int = DEFAULT_DAYS,
    *,
    level: float = DEFAULT_LEVEL,
    **options: Unpack[Options],
) -> xr.Dataset:
    """Answer on which days the wanted sessions fit, so that each begins recovered.

    Recovered means that all dips together lie under the threshold on the morning of the
    session's date, with the session's asked-for chance.

    Args:
        now: the state, from `standing`.
        wanted: how many sessions of each type, at dose 1.
        days: how many days the plan has.
        level: credible mass of every interval.
        **options: `start`, `fixed`, `rest`, `chance`, `chance_for`; see `Options`.

    Returns:
        Where the plan fits, dimension `day` (dates, every day of the plan): `session` (type
        or empty), `kind` (planned, fixed, logged or rest), `chance_recovered` on that
        morning, `chance_asked` (NaN where no session is planned), `dip_left_ln` (bound).
        Attributes: `fits`, `sessions` (date, type, fixed, chance, asked) and, where it does
        not fit, `alternatives`, `closest`, `fixed_short` and `not_worked_out`.

    Raises:
        QuestionError: what is asked for makes no sense, or is too large.
        NoAnswerError: a type cannot be told apart from another, or the search was too long.
    """
    check_level(level)
    wish = make_wish(now, wanted, days, **options)
    _refuse_confounded(now, wish)
    logged = _logged(now)
    _refuse_taken(wish, logged)
    foreseen = FARTHEST - round((wish.start - now.night) / DAY)
    most = max(wish.wanted.values())
    mornings = mornings_of(now, wish.start, foreseen, list(wish.wanted), most)
    space = space_of(wish, mornings, [date for date, _ in logged])
    found = best_plan(space, WORK)
    if found.plan is None and not found.proven:
        raise NoAnswerError(
            f"{wish.sessions} sessions in {wish.days} days make more plans than can be gone "
            "through; ask for fewer sessions, types or days at once."
        )
    out = None if found.plan else WaysOut(wish, mornings, [date for date, _ in logged])
    warnings = thin_types(now, list(wish.wanted))
    if found.plan and not found.proven:
        warnings.append(
            "There are too many plans to go through them all: this one meets every chance, but "
            "an earlier or more even one may exist."
        )
    return answer(
        _calendar(wish, space, found, logged, level),
        "spacing",
        now,
        level,
        warnings,
        fits=found.plan is not None,
        start=str(wish.start),
        days=wish.days,
        open_days=wish.days - len(space.closed),
        wanted=dict(wish.wanted),
        chances=dict(wish.chance),
        rest=list(wish.rest),
        logged=[{"date": str(date), "type": label} for date, label in logged],
        sessions=sessions_of(wish, space, found.plan or ()),
        alternatives=out.alternatives if out else [],
        closest=out.closest if out else None,
        fixed_short=out.fixed_short if out else [],
        not_worked_out=out.not_worked_out if out else [],
        first_night=str(now.season.first_night),
        rule=RULE,
        threshold_rule=THRESHOLD_RULE,
    )


def _refuse_confounded(now: Standing, wish: Wish) -> None:
    refused = confounded_types(now)
    reasons = dict.fromkeys(refused[label] for label in wish.wanted if label in refused)
    if reasons:
        raise NoAnswerError(" ".join(reasons))


def _logged(now: Standing) -> list[tuple[np.datetime64, str]]:
    """Return the logged sessions that no reading shows yet."""
    data = now.season.data
    dates = data[n.SESSION_DATE].values.astype("datetime64[D]")
    labels = data[n.SESSION_TYPE].values
    return [(d, str(t)) for d, t in zip(dates, labels, strict=True) if d >= now.night]


def _refuse_taken(wish: Wish, logged: list[tuple[np.datetime64, str]]) -> None:
    for date, label in logged:
        if date in wish.fixed:
            raise QuestionError(
                f"{date} is fixed for {wish.fixed[date]!r}, but {label!r} is already logged on "
                "it; a plan has at most one session a day, and counts what is logged by itself."
            )


def _calendar(
    wish: Wish,
    space: Space,
    found: Found,
    logged: list[tuple[np.datetime64, str]],
    level: float,
) -> xr.Dataset:
    """Return the plan day by day; no day where there is no plan."""
    plan = found.plan or ()
    days = wish.days if plan else 0
    types = list(wish.wanted)
    session, kind = [""] * days, [REST] * days
    asked = np.full(days, np.nan)
    for date, label in logged:
        day = round((date - wish.start) / DAY)
        if 0 <= day < days:
            session[day] = f"{session[day]}, {label}" if session[day] else label
            kind[day] = LOGGED
    for placed in plan:
        session[placed.day] = types[placed.kind]
        kind[placed.day] = FIXED if placed.day in space.fixed else PLANNED
        asked[placed.day] = space.asked[placed.kind]
    totals = _dips(space.mornings, found)[:days]
    back = np.array(space.mornings.recovered(totals), float)
    return xr.Dataset(
        {
            "session": (PLAN_DAY, np.array(session, str)),
            "kind": (PLAN_DAY, np.array(kind, str)),
            "chance_recovered": (PLAN_DAY, back / space.mornings.draws),
            "chance_asked": (PLAN_DAY, asked),
            "dip_left_ln": interval(totals.T, level, (PLAN_DAY,)),
        },
        coords={PLAN_DAY: (wish.start + DAY * np.arange(days)).astype("datetime64[ns]")},
    )


def _dips(mornings: Mornings, found: Found) -> Floats:
    """Return the dips together on each morning of a plan, shape (H, S)."""
    totals = mornings.unplanned.copy()
    done: list[int] = []
    for placed in found.plan or ():
        which = done.count(placed.kind)
        totals[placed.day + 1 :] += mornings.added(placed.kind, which, placed.day, len(totals))
        done.append(placed.kind)
    return totals
