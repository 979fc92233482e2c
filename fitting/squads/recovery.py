"""Days to recover in a squad: each athlete's own, the group's, and who differs how surely."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from slackwater.fitting.answers.intervals import (
    CLEARLY,
    DEFAULT_LEVEL,
    Interval,
    check_level,
    interval,
)
from slackwater.fitting.mornings import key_of
from slackwater.fitting.pooling.population_file import read_population
from slackwater.fitting.squads.answer import SquadAnswer, Unanswered, about_squad
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.fitting.squads.index import (
    POPULATION,
    TypeRow,
    chance_above,
    interval_kept,
    read_rows,
)
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.population import Population

FEW: Final = 5  # athletes, of fewer than whom little is known of how athletes differ
LONGER: Final = "longer"
SHORTER: Final = "shorter"
CANNOT_TELL: Final = "cannot tell"


@dataclass(frozen=True)
class TypeOfAthlete:
    """One athlete's recovery from one type.

    Attributes:
        type: by the squad's name.
        sessions: how many the readings can show.
        typical_days: from a typical session, by the athlete's own readings and what the group
            tells.
        alone_days: the same by the athlete's own readings alone, as `recovery` tells it; None
            where these give no answer.
        own_share: how much of what the group leaves open the athlete's own readings settle, 0 to
            1.
        chance_longer: the chance that it takes longer than a typical athlete of the group; None
            where nobody else has the type.
        differs: "longer" or "shorter" where that is clear, else "cannot tell".
    """

    type: str
    sessions: int
    typical_days: Interval
    alone_days: Interval | None
    own_share: float
    chance_longer: float | None
    differs: str


@dataclass(frozen=True)
class AthleteRecovery:
    """One athlete's recovery, by type.

    Attributes:
        athlete: as shown.
        types: the athlete's types.
        mind: what to mind with it.
    """

    athlete: str
    types: tuple[TypeOfAthlete, ...]
    mind: tuple[Reason, ...]


@dataclass(frozen=True)
class TypeOfGroup:
    """The group's recovery from one type.

    Attributes:
        type: the type.
        athletes: how many have it.
        typical_days: of a typical athlete of the group.
        spread_days: how athletes differ, as a standard deviation.
        another_days: of one more athlete, of whom nothing is known yet.
    """

    type: str
    athletes: int
    typical_days: Interval
    spread_days: Interval
    another_days: Interval


@dataclass(frozen=True)
class SquadRecovery(SquadAnswer):
    """Days to recover in a squad.

    Attributes:
        learnt_from: how many athletes the group was learnt from.
        athletes: each athlete's, in the squad's order.
        group: the group's, of the types that at least two athletes have.
    """

    learnt_from: int
    athletes: tuple[AthleteRecovery, ...]
    group: tuple[TypeOfGroup, ...]


def squad_recovery(squad: SquadFolder, level: float = DEFAULT_LEVEL) -> SquadRecovery:
    """Answer how many days each athlete takes to recover, and how the group does.

    Args:
        squad: the squad folder, fitted.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: the squad was not fitted, or of too few athletes.
        SeasonFilesError: the squad folder cannot be read.
    """
    check_level(level)
    population = population_of(squad)
    typical: dict[str, Floats] = {}
    values: dict[str, list[str]] = {}
    having: dict[str, int] = {}
    found: dict[str, list[TypeOfAthlete]] = {}
    nights, mind = [], {}
    for row in read_rows(squad, TypeRow):
        if row.athlete not in squad.folders:
            continue  # gone since
        if row.type not in typical and row.type in population.labels[n.TYPE_LOG_DIP]:
            typical[row.type] = population.typical_days(row.type, row.values)
            values[row.type] = row.values
        having[row.type] = having.get(row.type, 0) + 1
        found.setdefault(row.athlete, []).append(_of_athlete(row, typical.get(row.type), level))
        nights.append(np.datetime64(row.last_night, "D"))
        mind[row.athlete] = _mind(squad, row)
    if not found:
        raise NoAnswerError(Reason("squad not fitted"))
    return SquadRecovery(
        about_squad(squad, level, nights, few(population)),
        tuple(
            Unanswered(squad.shown[folder], (Reason("not in the group"),))
            for folder in squad.folders
            if folder not in found
        ),
        learnt_from=population.athletes,
        athletes=tuple(
            AthleteRecovery(squad.shown[folder], tuple(found[folder]), mind[folder])
            for folder in squad.folders
            if folder in found
        ),
        group=tuple(
            _of_group(population, label, values[label], having[label], level) for label in typical
        ),
    )


def population_of(squad: SquadFolder) -> Population:
    """Return what was learnt of a squad.

    Raises:
        NoAnswerError: it was not fitted yet.
        QuestionError: what is kept is damaged.
    """
    try:
        return read_population(squad.path / POPULATION)
    except FileNotFoundError:
        raise NoAnswerError(Reason("squad not fitted")) from None


def few(population: Population) -> list[Reason]:
    """Return the reason to mind where a group is small."""
    small = population.athletes < FEW
    return [Reason("few athletes", athletes=population.athletes)] if small else []


def _of_athlete(row: TypeRow, typical: Floats | None, level: float) -> TypeOfAthlete:
    longer = None if typical is None else chance_above(row.days, typical)
    return TypeOfAthlete(
        row.type,
        row.sessions,
        interval_kept(row.days, level),
        interval_kept(row.alone_days, level) if row.alone_days else None,
        row.own_share,
        longer,
        CANNOT_TELL if longer is None else differs(longer),
    )


def differs(chance: float) -> str:
    """Return which way something clearly differs, by the chance that it is longer."""
    if chance >= CLEARLY:
        return LONGER
    return SHORTER if chance <= 1 - CLEARLY else CANNOT_TELL


def _mind(squad: SquadFolder, row: TypeRow) -> tuple[Reason, ...]:
    changed = key_of(squad.path / row.athlete) != row.key
    return (
        *([Reason("changed since the squad's fit")] if changed else []),
        *([Reason("moved by approximation")] if row.again else []),
    )


def _of_group(
    population: Population, label: str, values: list[str], athletes: int, level: float
) -> TypeOfGroup:
    rng = np.random.default_rng(0)
    return TypeOfGroup(
        label,
        athletes,
        interval(population.typical_days(label, values), level),
        interval(population.spread_of_days(label, rng, values), level),
        interval(population.days_of_another(label, rng, values), level),
    )
