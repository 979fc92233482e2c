"""A squad learnt: each athlete alone, then what all of them show together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.squads.answer import SquadAnswer, Unanswered, about_squad
from slackwater.fitting.squads.each import FITTED, LEFT_OUT, UNCHANGED, Workers, fit_each
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.fitting.squads.pooled import pool_squad
from slackwater.fitting.squads.recovery import (
    TypeOfGroup,
    few,
    population_of,
    squad_recovery,
)
from slackwater.model.errors import NoAnswerError, Reason


@dataclass(frozen=True)
class AthleteFitted:
    """What became of one athlete.

    Attributes:
        athlete: as shown.
        seconds: what the fit took.
        mind: what to mind with it.
    """

    athlete: str
    seconds: float
    mind: tuple[Reason, ...]


@dataclass(frozen=True)
class SquadFitted(SquadAnswer):
    """What became of a squad's athletes.

    Attributes:
        group: what they show together, as `squad_recovery` tells it.
        fitted: those fitted now.
        unchanged: those whose season did not change since their fit.
    """

    group: tuple[TypeOfGroup, ...]
    fitted: tuple[AthleteFitted, ...]
    unchanged: tuple[str, ...]


def squad_fit(
    squad: SquadFolder,
    workers: Workers,
    how: dict[str, Any] | None = None,
    level: float = DEFAULT_LEVEL,
    tell: Callable[[int, int], None] | None = None,
) -> SquadFitted:
    """Fit all athletes of a squad who changed, and learn what all of them show together.

    Args:
        squad: the squad folder.
        workers: who fits, such as `squads.cluster.cluster` opens; `squads.each.InTurn` does it
            here, one after another.
        how: `draws` and `chains` of each athlete's fit.
        level: credible mass of every interval.
        tell: called with the fits done and all fits; whoever is fitted again counts once more.

    Raises:
        NoAnswerError: fewer than two athletes could be fitted.
        SeasonFilesError: the squad folder cannot be read.
        OSError: something cannot be written; what was is kept.
    """
    with squad.held():
        outcomes = fit_each(squad, workers, how or {}, tell)
        there = [o.folder for o in outcomes if o.became != LEFT_OUT]
        left_out = [
            Unanswered(squad.shown[o.folder], o.why) for o in outcomes if o.became == LEFT_OUT
        ]
        if not there:
            why = dict.fromkeys(reason for each in left_out for reason in each.why)
            raise NoAnswerError(Reason("nobody answered", athletes=len(outcomes)), *why)

        def tell_again(done: int, of: int) -> None:
            if tell:
                tell(len(outcomes) + done, len(outcomes) + of)

        pooled = pool_squad(squad, there, workers, how, tell_again)
    nights = [o.last_night for o in outcomes if o.last_night is not None]
    return SquadFitted(
        about_squad(squad, level, nights, few(population_of(squad))),
        (*left_out, *pooled),
        group=squad_recovery(squad, level).group,
        fitted=tuple(
            AthleteFitted(squad.shown[o.folder], o.seconds, o.why)
            for o in outcomes
            if o.became == FITTED
        ),
        unchanged=tuple(squad.shown[o.folder] for o in outcomes if o.became == UNCHANGED),
    )
