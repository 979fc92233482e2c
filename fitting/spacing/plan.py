"""A dated plan for wanted sessions, each with a chance to be recovered before it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Unpack

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.answers.support import confounded_types, thin_types
from slackwater.fitting.records.plans import SCHEMA, KeptPlan, LoggedSession, Session
from slackwater.fitting.spacing.alternatives import (
    Alternative,
    WaysOut,
    sessions_of,
    space_of,
    ways_out,
)
from slackwater.fitting.spacing.mornings import Mornings, mornings_of
from slackwater.fitting.spacing.search import WORK, Found, best_plan
from slackwater.fitting.spacing.session import Dated, day_of, log_of
from slackwater.fitting.spacing.space import Placed, Space
from slackwater.fitting.spacing.wish import DEFAULT_DAYS, Options, Wish, make_wish
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError, Reason

PLANNED: Final = "planned"
FIXED: Final = "fixed"
LOGGED: Final = "logged"
REST: Final = "rest"


@dataclass(frozen=True)
class CalendarDay:
    """One day of a plan.

    Attributes:
        date: its date.
        session: the type trained on it, several logged ones with commas; None on a day of rest.
        kind: planned, fixed, logged or rest.
        chance_recovered: the chance to be recovered on its morning.
        chance_asked: the chance asked for; None where no session is planned.
        dip_left_ln: all dips together on its morning, ln.
    """

    date: dt.date
    session: str | None
    kind: str
    chance_recovered: float
    chance_asked: float | None
    dip_left_ln: Interval


@dataclass(frozen=True)
class SpacingPlan(Answer):
    """A plan for wanted sessions, or what would have to give.

    Attributes:
        fits: whether there is a plan that meets every chance.
        start: the first day that was asked for.
        days: how many days were asked for.
        wanted: how many sessions of each type.
        chances: the chance asked for before a session of each type.
        rest: dates and weekdays asked to be without a session.
        open_days: how many of the days can hold a session.
        logged: sessions that the log holds from the last reading's morning on.
        sessions: the plan, in order of time; none where it does not fit.
        calendar: every day of the plan; none where it does not fit.
        alternatives: ways out that work, where it does not fit.
        closest: the sessions of the plan that comes nearest, where it does not fit; None where
            that was not worked out.
        hardest: the one of them that falls short the most.
        fixed_short: fixed sessions that fall short with nothing but fixed ones planned.
        not_worked_out: kinds of ways out that would have taken too long.
        more_days_help: whether more days alone are enough; None where it fits, or that was not
            worked out.
        first_night: the season's first night.
        rule: how a plan is chosen.
        threshold_rule: the dip under which a morning counts as recovered.
        unexplained: None, since no plan is made where something holds readings down that is not
            in the log.
    """

    fits: bool
    start: dt.date
    days: int
    wanted: Mapping[str, int]
    chances: Mapping[str, float]
    rest: tuple[str, ...]
    open_days: int
    logged: tuple[Dated, ...]
    sessions: tuple[Session, ...]
    calendar: tuple[CalendarDay, ...]
    alternatives: tuple[Alternative, ...]
    closest: tuple[Session, ...] | None
    hardest: Session | None
    fixed_short: tuple[Session, ...]
    not_worked_out: tuple[str, ...]
    more_days_help: bool | None
    first_night: dt.date
    threshold_rule: Reason
    rule: Reason = Reason("spacing rule")
    unexplained: None = None


def plan_spacing(
    athlete: Athlete,
    wanted: Mapping[str, int],
    days: int = DEFAULT_DAYS,
    *,
    level: float = DEFAULT_LEVEL,
    **options: Unpack[Options],
) -> SpacingPlan:
    """Answer on which days the wanted sessions fit, so that each begins recovered.

    Recovered means that all dips together lie under the threshold on the morning of the
    session's date, with the session's asked-for chance.

    Args:
        athlete: the season and what was learnt of it.
        wanted: how many sessions of each type, at dose 1.
        days: how many days the plan has.
        level: credible mass of every interval.
        **options: `start`, `fixed`, `rest`, `chance`, `chance_for`; see `Options`.

    Raises:
        QuestionError: what is asked for makes no sense, or is too large.
        NoAnswerError: a type cannot be told apart from another, or the search was too long.
    """
    check_level(level)  # before the search, which takes its time
    now = athlete.now
    wish = make_wish(now, wanted, days, **options)
    _refuse_confounded(now, wish)
    if now.unexplained is not None:
        raise NoAnswerError(now.warnings[0], Reason("no plan while unexplained"))
    night = day_of(now.night)
    logged = tuple(row for row in log_of(now.season) if row.date >= night)
    _refuse_taken(wish, logged)
    skipped = (wish.start - night).days
    most = max(wish.wanted.values())
    mornings = mornings_of(now, skipped, FARTHEST - skipped, list(wish.wanted), most)
    taken = [row.date for row in logged]
    space = space_of(wish, mornings, taken)
    found = best_plan(space, WORK)
    if found.plan is None and not found.proven:
        raise NoAnswerError(Reason("too many plans", sessions=wish.sessions, days=wish.days))
    out = WaysOut() if found.plan else ways_out(wish, mornings, taken)
    return SpacingPlan(
        about(now, level, _warnings(now, wish, found)),
        fits=found.plan is not None,
        start=wish.start,
        days=wish.days,
        wanted=wish.wanted,
        chances=wish.chance,
        rest=wish.rest,
        open_days=wish.days - len(space.closed),
        logged=logged,
        sessions=sessions_of(wish, space, found.plan or ()),
        calendar=tuple(_calendar(wish, space, found.plan, logged, level)) if found.plan else (),
        **out._asdict(),
        first_night=day_of(now.season.first_night),
        threshold_rule=now.threshold_rule,
    )


def plan_to_keep(plan: SpacingPlan) -> KeptPlan:
    """Return a plan that fits, as it is kept."""
    return KeptPlan(
        schema=SCHEMA,
        season=plan.about.season,
        made_from=day_of(plan.about.last_night),
        start=plan.start,
        days=plan.days,
        threshold_percent=plan.threshold_rule.facts.get("percent"),
        rest=list(plan.rest),
        logged=[LoggedSession(date=date, type=label) for date, label in plan.logged],
        sessions=list(plan.sessions),
    )


def _refuse_confounded(now: Standing, wish: Wish) -> None:
    refused = confounded_types(now)
    reasons = dict.fromkeys(refused[label] for label in wish.wanted if label in refused)
    if reasons:
        raise NoAnswerError(*reasons)


def _refuse_taken(wish: Wish, logged: tuple[Dated, ...]) -> None:
    for date, label in logged:
        if date in wish.fixed:
            raise QuestionError(
                f"{date} is fixed for {wish.fixed[date]!r}, but {label!r} is already logged on "
                "it; a plan has at most one session a day, and counts what is logged by itself."
            )


def _warnings(now: Standing, wish: Wish, found: Found) -> list[Reason]:
    perhaps = [] if found.proven else [Reason("perhaps a better plan")]
    return [*thin_types(now, wish.wanted), *perhaps]


def _calendar(
    wish: Wish,
    space: Space,
    plan: tuple[Placed, ...],
    logged: tuple[Dated, ...],
    level: float,
) -> Iterator[CalendarDay]:
    """Yield a plan day by day."""
    types = list(wish.wanted)
    planned = {placed.day: placed.kind for placed in plan}
    totals = _dips(space.mornings, plan)
    for day, back in enumerate(space.mornings.recovered(totals)):
        date = wish.date(day)
        session, kind, asked = ", ".join(t for d, t in logged if d == date), LOGGED, None
        if day in planned:
            session, asked = types[planned[day]], space.asked[planned[day]]
            kind = FIXED if day in space.fixed else PLANNED
        yield CalendarDay(
            date=date,
            session=session or None,
            kind=kind if session else REST,
            chance_recovered=back / space.mornings.draws,
            chance_asked=asked,
            dip_left_ln=interval(totals[day], level),
        )


def _dips(mornings: Mornings, plan: tuple[Placed, ...]) -> Floats:
    """Return the dips together on each morning of a plan, shape (H, S)."""
    totals = mornings.unplanned.copy()
    done: list[int] = []
    for placed in plan:
        which = done.count(placed.kind)
        totals[placed.day + 1 :] += mornings.added(placed.kind, which, placed.day, len(totals))
        done.append(placed.kind)
    return totals
