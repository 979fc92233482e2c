"""Whether a recovery measure works across a squad's athletes, how they differ, and for whom."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.measures.verdicts import UNDECIDED
from slackwater.fitting.squads.answer import SquadAnswer, Unanswered, about_squad
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.fitting.squads.index import MeasureRow, chance_above, interval_kept, read_rows
from slackwater.fitting.squads.recovery import few, population_of
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason, unknown_name


@dataclass(frozen=True)
class AthleteCompared:
    """One athlete's recovery with a measure over recovery without it.

    Attributes:
        athlete: as shown.
        nights_with, nights_without, sessions_with, sessions_without: what it rests on.
        rate_ratio: recovery rate with over without, by the athlete's own readings and what the
            group tells.
        alone_ratio: the same by the athlete's own readings alone, as `compare` tells it.
        own_share: how much of what the group leaves open the athlete's own readings settle.
        chance_faster: the chance that the ratio is above 1.
    """

    athlete: str
    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    alone_ratio: Interval
    own_share: float
    chance_faster: float


@dataclass(frozen=True)
class SquadCompared(SquadAnswer):
    """Recovery with one measure over recovery without it, across a squad.

    Attributes:
        intervention: the measure.
        users: how many athletes used it.
        nights_with, nights_without, sessions_with, sessions_without: of all of them.
        rate_ratio: recovery rate with over without, of a typical athlete.
        chance_faster: the chance that it is above 1.
        spread_ln: how athletes differ, as a standard deviation of the ratio's logarithm.
        another_ratio: of one more athlete, who has not tried it yet.
        chance_another_faster: the chance that it is above 1.
        athletes: those who used it.
        verdict: always "undecided": nobody drew lots for the squad.
        verdict_rule: why there is no verdict.
        settled_by: what would settle it, for each athlete.
    """

    intervention: str
    users: int
    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    chance_faster: float
    spread_ln: Interval
    another_ratio: Interval
    chance_another_faster: float
    athletes: tuple[AthleteCompared, ...]
    verdict: str
    verdict_rule: Reason
    settled_by: Reason


def squad_compare(squad: SquadFolder, name: str, level: float = DEFAULT_LEVEL) -> SquadCompared:
    """Answer how fast recovery is with one measure and without it, across a squad.

    As for one athlete, no verdict is given outside a trial. While a trial of it is under way for
    anybody, nothing is told that rests on that athlete.

    Args:
        squad: the squad folder, fitted.
        name: the measure.
        level: credible mass of every interval.

    Raises:
        QuestionError: no athlete logged it.
        NoAnswerError: the squad was not fitted, one athlete alone uses it, or it is on trial.
        SeasonFilesError: the squad folder cannot be read.
    """
    check_level(level)
    population = population_of(squad)
    rows, known = [], set()
    for row in read_rows(squad, MeasureRow):
        known.add(row.measure)
        if row.measure == name and row.athlete in squad.folders:
            rows.append(row)
    if not rows:
        raise unknown_name("recovery measure of this squad", name, known)
    trying = [squad.shown[row.athlete] for row in rows if _on_trial(squad, row)]
    if trying:
        raise NoAnswerError(Reason("on trial in the squad", measure=name, athletes=trying))
    if name not in population.labels[n.LOG_RATE_RATIO]:
        user = squad.shown[rows[0].athlete]
        raise NoAnswerError(Reason("one athlete uses it", measure=name, athlete=user))
    typical = population.typical(n.LOG_RATE_RATIO, name)
    another = population.another(n.LOG_RATE_RATIO, np.random.default_rng(0), name)
    rows.sort(key=lambda row: squad.folders.index(row.athlete))
    none = {row.athlete for row in rows}
    return SquadCompared(
        about_squad(
            squad, level, [np.datetime64(row.last_night, "D") for row in rows], few(population)
        ),
        tuple(
            Unanswered(squad.shown[folder], (Reason("never used it", measure=name),))
            for folder in squad.folders
            if folder not in none
        ),
        intervention=name,
        users=len(rows),
        nights_with=sum(row.nights_with for row in rows),
        nights_without=sum(row.nights_without for row in rows),
        sessions_with=sum(row.sessions_with for row in rows),
        sessions_without=sum(row.sessions_without for row in rows),
        rate_ratio=interval(np.exp(typical), level),
        chance_faster=float((typical > 0).mean()),
        spread_ln=interval(population.spreads[n.LOG_RATE_RATIO], level),
        another_ratio=interval(np.exp(another), level),
        chance_another_faster=float((another > 0).mean()),
        athletes=tuple(_of_athlete(squad, row, level) for row in rows),
        verdict=UNDECIDED,
        verdict_rule=Reason("no verdict outside a trial"),
        settled_by=Reason("a trial settles it"),
    )


def measures_of(squad: SquadFolder) -> list[str]:
    """Return the recovery measures that a squad's athletes use, by name."""
    return sorted({row.measure for row in read_rows(squad, MeasureRow)})


def _on_trial(squad: SquadFolder, row: MeasureRow) -> bool:
    """Say whether a trial of it is under way, before whose end nobody looks."""
    last = dt.date.fromisoformat(row.last_night)
    return any(
        trial.plan.measure == row.measure and trial.status(last) == "running"
        for trial in squad.season(row.athlete).trials
    )


def _of_athlete(squad: SquadFolder, row: MeasureRow, level: float) -> AthleteCompared:
    return AthleteCompared(
        squad.shown[row.athlete],
        row.nights_with,
        row.nights_without,
        row.sessions_with,
        row.sessions_without,
        _ratio(row.log_ratio, level),
        _ratio(row.alone_log_ratio, level),
        row.own_share,
        chance_above(row.log_ratio, np.zeros(1)),
    )


def _ratio(log_ratio: list[float], level: float) -> Interval:
    return Interval(*(float(np.exp(bound)) for bound in interval_kept(log_ratio, level)))
