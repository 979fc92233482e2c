"""What every answer about a squad carries, and what is said of an athlete who has none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from slackwater.fitting.answers.answer import About, Answer
from slackwater.fitting.answers.intervals import check_level
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.errors import NoAnswerError, Reason, SeasonError


@dataclass(frozen=True)
class Unanswered:
    """An athlete of whom nothing can be said, and why.

    Attributes:
        athlete: as shown.
        why: the reasons.
    """

    athlete: str
    why: tuple[Reason, ...]


@dataclass(frozen=True)
class SquadAnswer(Answer):
    """An answer about a squad; `about.season` is the squad's name.

    Attributes:
        unanswered: the athletes who are not in it.
    """

    unanswered: tuple[Unanswered, ...]


def about_squad(
    squad: SquadFolder, level: float, nights: Iterable[np.datetime64], warnings: Iterable[Reason]
) -> About:
    """Return what an answer about a squad is about.

    Args:
        squad: the squad.
        level: credible mass of every interval.
        nights: each athlete's morning of the last reading that was used.
        warnings: what to mind with this answer.
    """
    check_level(level)
    return About(squad.name, max(nights), level, tuple(warnings))


def why_not(error: Exception, shown: str) -> tuple[Reason, ...]:
    """Return why an athlete has no answer, with nothing that names the athlete otherwise."""
    if isinstance(error, NoAnswerError):
        return as_shown(error.reasons, shown)
    first, *others = str(error).split("\n") if isinstance(error, SeasonError) else (str(error),)
    return (Reason("season cannot be read", problem=first, others=len(others)),)


def as_shown(reasons: Iterable[Reason], shown: str) -> tuple[Reason, ...]:
    """Return reasons in which an athlete is called as on every screen, and files by their names."""

    def of(fact: str, value: Any) -> Any:
        return shown if fact == "season" else Path(str(value)).name

    return tuple(
        reason.among(**{k: of(k, v) for k, v in reason.facts.items() if k in ("season", "file")})
        for reason in reasons
    )
