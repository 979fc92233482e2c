"""Whether a plan that was kept still holds, by all that is known since."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.answers.worth import one_ahead
from slackwater.fitting.doubts.foreseen import from_draws
from slackwater.fitting.records.plans import KeptPlan, Session, holding
from slackwater.fitting.spacing.done import TO_COME, became_of
from slackwater.fitting.spacing.mornings import mornings_of
from slackwater.fitting.spacing.session import Dated, day_of, log_of
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import Past
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.paths import noise_variance

FAR_OFF: Final = 0.005  # a reading as far out on either side comes once in so many nights


class ToCome(NamedTuple):
    """What is still to come of the plans kept.

    Attributes:
        sessions: in order of date.
        plans: the plan that each is of.
    """

    sessions: list[Session]
    plans: list[KeptPlan]


def to_come(plans: Sequence[KeptPlan], log: Sequence[Dated], night: dt.date) -> ToCome:
    """Return the planned sessions that hold and are neither done nor missed.

    Args:
        plans: the plans kept.
        log: the sessions done, by date and type.
        night: the last reading's morning.
    """
    held = holding(plans)
    became = became_of(held.sessions, log, night)
    rows = zip(held.sessions, held.plans, became, strict=True)
    left = [(session, plan) for session, plan, done in rows if done.status == TO_COME]
    return ToCome([session for session, _ in left], [plan for _, plan in left])


def overtaken(athlete: Athlete) -> tuple[Reason, ...]:
    """Return why the plan that is still to come no longer holds; empty where it does.

    It no longer holds once something was done that it did not foresee, a reading came far from
    what was foretold for it, something unexplained holds readings down, a session to come no
    longer begins with the chance that was asked for, or recovered means something else by now.

    Args:
        athlete: the season, what was learnt of it, and the plans kept.
    """
    if not athlete.plans:
        return ()
    now = athlete.now
    log = log_of(now.season)
    left = to_come(athlete.plans, log, day_of(now.night))
    if not left.sessions:
        return ()
    if now.unexplained is not None:
        return (Reason("planned before the drop", since=str(now.unexplained.since)),)
    return (
        *_other_threshold(now, left.plans),
        *_not_foreseen([plan for plan in athlete.plans if plan in left.plans], log),
        *_far_off(athlete, max(plan.made_from for plan in left.plans)),
        *_too_early(now, left.sessions),
    )


def _other_threshold(now: Standing, plans: Sequence[KeptPlan]) -> Iterator[Reason]:
    """Yield that a plan's chances are those of another threshold than the one that holds now."""
    percent = now.season.threshold_percent
    for planned in dict.fromkeys(plan.threshold_percent for plan in plans):
        if planned != percent:
            yield Reason("plan under another threshold", planned=planned, percent=percent)


def _not_foreseen(plans: Sequence[KeptPlan], log: Sequence[Dated]) -> Iterator[Reason]:
    """Yield the sessions done since the latest plan that no plan foresaw."""
    made_from = max(plan.made_from for plan in plans)
    foreseen = [row for plan in plans for row in (*plan.logged, *plan.sessions)]
    given = Counter((row.date, row.type) for row in foreseen)
    done = Counter((row.date, row.type) for row in log if row.date >= made_from)
    for date, label in sorted((done - given).elements()):
        yield Reason("done beside the plan", type=label, date=str(date))


def _far_off(athlete: Athlete, made_from: dt.date) -> Iterator[Reason]:
    """Yield the readings since a plan was made that came far from what was foretold for them."""
    new = athlete.now.season.nights > np.datetime64(made_from)
    if not (new & athlete.now.season.read).any():
        return
    past = athlete.past
    fitted = past.season.through(athlete.posterior.last_night)
    mean, variance = one_ahead(past, past.rng(), fitted)
    ordinary = np.sqrt(noise_variance(past.draws, np.zeros((len(past.level), 1))))[:, 0]
    for night in np.flatnonzero(new & past.season.read):
        level = variance[:, night] + past.season.reading_ln_sd[night] ** 2
        columns = (mean[:, night], level, ordinary, past.draws[n.NOISE_TAIL].values)
        foretold = from_draws(*(column.tolist() for column in columns))
        if foretold.chance(float(past.readings[night])) < FAR_OFF:
            yield _reading(past, int(night), foretold.median)


def _reading(past: Past, night: int, foretold: float) -> Reason:
    return Reason(
        "reading far from foretold",
        date=str(past.season.nights[night]),
        reading_ms=float(np.exp(past.readings[night])),
        foretold_ms=float(np.exp(foretold)),
    )


def _too_early(now: Standing, sessions: Sequence[Session]) -> Iterator[Reason]:
    """Yield the sessions to come that no longer begin with the chance asked for."""
    night = day_of(now.night)
    types = [label for label in dict.fromkeys(s.type for s in sessions) if label in now.types]
    days = [(session.date - night).days for session in sessions]
    within = [
        (session, day)
        for session, day in zip(sessions, days, strict=True)
        if 0 <= day < FARTHEST and session.type in types
    ]
    if not within:
        return
    most = max(Counter(session.type for session, _ in within).values())
    mornings = mornings_of(now, 0, within[-1][1] + 1, types, most)
    totals, done = mornings.unplanned.copy(), Counter[str]()
    for session, day in within:
        kind = types.index(session.type)
        chance = mornings.recovered(totals[[day]])[0] / mornings.draws
        if chance < session.asked:
            facts = {"type": session.type, "date": str(session.date)}
            yield Reason("begins too early now", chance=chance, asked=session.asked, **facts)
        totals[day + 1 :] += mornings.added(kind, done[session.type], day, len(totals))
        done[session.type] += 1
