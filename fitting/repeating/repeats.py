"""How far repeats of a session type agree, and how many more would settle its answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval, interval_of
from slackwater.fitting.answers.recovery import Refused, recovery
from slackwater.fitting.answers.support import thin_types
from slackwater.fitting.describing.held import AfterSession
from slackwater.fitting.describing.residuals import after_types
from slackwater.fitting.repeating.agreement import Agreement, agreement
from slackwater.fitting.repeating.narrowing import (
    GAIN_RULE,
    NARROWING_RULE,
    NEXT_FEW,
    Narrowing,
    narrowing,
    pays_most,
)
from slackwater.fitting.state.athlete import Athlete
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason, unknown_name


@dataclass(frozen=True, kw_only=True)
class TypeRepeats(Agreement, Narrowing):
    """How far the sessions of one type agree, and what more of them would tell.

    Attributes:
        sessions: how many the readings can show.
        typical_days: days to recover from its typical session, as `recovery` has them.
        after: how readings lie on the mornings after its sessions, until another session came;
            where they depart, the type does not recover as the model has it.
    """

    sessions: int
    typical_days: Interval
    after: tuple[AfterSession, ...]


@dataclass(frozen=True)
class RepeatPays:
    """What it pays to repeat a type.

    Attributes:
        sessions: the next few of it, which are looked at.
        narrowing_days: what each of them is expected to take off the range of typical days.
        width_days: how wide that is now.
        share_of_sessions: the type's share of all that were logged.
    """

    sessions: int
    narrowing_days: float
    width_days: float
    share_of_sessions: float


@dataclass(frozen=True)
class Repeats(Answer):
    """How far the repeats of each type agree, and how many more are needed.

    Attributes:
        session_factor: the factor by which one session in three differs from its type's usual dip.
        repeat_next: the type, of all, that it would pay most to repeat; None where all are narrow.
        repeat_next_pays: what that pays.
        types: one row a type.
        refused: types without an answer.
        narrowing_rule, gain_rule, after_rule: what narrowing, gain and the mornings after mean.
    """

    session_factor: Interval
    repeat_next: str | None
    repeat_next_pays: RepeatPays | None
    types: tuple[TypeRepeats, ...]
    refused: tuple[Refused, ...]
    narrowing_rule: Reason = NARROWING_RULE
    gain_rule: Reason = GAIN_RULE
    after_rule: Reason = Reason("mornings after a type")


def repeats(
    athlete: Athlete, session_type: str | None = None, level: float = DEFAULT_LEVEL
) -> Repeats:
    """Answer how far the repeats of each type agree, and how many more are needed.

    Args:
        athlete: the season and what was learnt of it.
        session_type: the one type to answer for; all if left out.
        level: credible mass of every interval.

    Raises:
        QuestionError: no such type.
        NoAnswerError: no type can be answered, or this one cannot be told apart.
    """
    now, known = athlete.now, recovery(athlete, level)
    answered = [str(t) for t in known.types[n.TYPE].values]
    refused = {row.type: row.why for row in known.refused}
    labels = answered if session_type is None else [_asked(session_type, answered, refused)]
    learnt = narrowing(now, answered, labels, level)
    own, after = athlete.own_recovery, after_types(athlete, level)
    types = []
    for label in labels:
        row = known.types.sel({n.TYPE: label})
        types.append(
            TypeRepeats(
                **vars(agreement(own, label, level)),
                **vars(learnt[label]),
                sessions=int(row["sessions"]),
                typical_days=interval_of(row["typical_days"]),
                after=tuple(mornings for mornings in after if mornings.type == label),
            )
        )
    best = pays_most(learnt.values())
    warnings = [
        *dict.fromkeys(refused.values()),
        *thin_types(now, labels),
        *_never_alone(types),
        *_otherwise(types),
        *_not_fitted(athlete),
    ]
    return Repeats(
        about(now, level, warnings),
        session_factor=interval(np.exp(now.parameter(n.SESSION_SD)), level),
        repeat_next=best.type if best else None,
        repeat_next_pays=_pays(best) if best else None,
        types=tuple(types),
        refused=known.refused,
    )


def _asked(session_type: str, answered: list[str], refused: dict[str, Reason]) -> str:
    if session_type in refused:
        raise NoAnswerError(refused[session_type])
    if session_type not in answered:
        raise unknown_name("session type", session_type, answered)
    return session_type


def _pays(best: Narrowing) -> RepeatPays:
    return RepeatPays(NEXT_FEW, best.narrowing_days, best.width_days, best.share_of_sessions)


def _never_alone(types: list[TypeRepeats]) -> list[Reason]:
    labels = [row.type for row in types if not row.undisturbed]
    return [Reason("never left undisturbed", types=labels)] if labels else []


def _otherwise(types: list[TypeRepeats]) -> list[Reason]:
    labels = [row.type for row in types if any(mornings.departs for mornings in row.after)]
    return [Reason("recovers otherwise", types=labels)] if labels else []


def _not_fitted(athlete: Athlete) -> list[Reason]:
    dates = athlete.season.data[n.SESSION_DATE].values.astype("datetime64[D]")
    since = int((dates >= athlete.posterior.last_night).sum())
    return [Reason("latest sessions not listed", count=since)] if since else []
