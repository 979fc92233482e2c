"""Who is at baseline this morning, who is not and until when, and who was not read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from slackwater.fitting.answers.answer import Unexplained
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.journey.today import Today, today
from slackwater.fitting.spacing.session import day_of
from slackwater.fitting.squads.answer import SquadAnswer, Unanswered, about_squad, as_shown, why_not
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.back import FOUR_IN_FIVE, check_chance
from slackwater.model.errors import NoAnswerError, Reason, SeasonError


@dataclass(frozen=True)
class AthleteToday:
    """One athlete's morning, as `today` tells it of the athlete alone.

    Attributes:
        athlete: as shown.
        last_read: the morning of the last reading.
        reading_ms: this morning's; None where there is none yet.
        reading_percent: how far that lies over baseline, below 0 where under it.
        dip_left_ln: how far the state lies under it, ln.
        chance_at_baseline: the chance of it this morning.
        at_baseline: "likely", "possibly" or "likely not".
        from_: the first morning on which the chance asked for is reached and no session is
            logged; None where there is none within 60 days, or while something unexplained holds
            readings down.
        unexplained: what holds readings down and is not in the log; None where nothing is.
        logged: the sessions logged for that day.
        mind: what to mind with it.
    """

    athlete: str
    last_read: dt.date
    reading_ms: float | None
    reading_percent: float | None
    dip_left_ln: Interval
    chance_at_baseline: float
    at_baseline: str
    from_: dt.date | None
    unexplained: Unexplained | None
    logged: tuple[str, ...]
    mind: tuple[Reason, ...]


@dataclass(frozen=True)
class SquadToday(SquadAnswer):
    """The squad's morning.

    Attributes:
        morning: the morning asked about.
        chance_asked: the chance to be recovered that is asked for.
        athletes: the athletes, in the squad's order.
    """

    morning: dt.date
    chance_asked: float
    athletes: tuple[AthleteToday, ...]


def squad_today(
    squad: SquadFolder,
    chance: float = FOUR_IN_FIVE,
    morning: np.datetime64 | None = None,
    clock: dt.date | None = None,
    level: float = DEFAULT_LEVEL,
    tell: Callable[[int, int], None] | None = None,
) -> SquadToday:
    """Answer who is at baseline this morning.

    Each athlete's is what `today` answers of the same morning.

    Args:
        squad: the squad folder.
        chance: the chance to be recovered that is asked for.
        morning: the morning asked about.
        clock: where that is left out, the day that it is: it is asked about where readings reach
            so far or foresee it, else the squad's last reading.
        level: credible mass of every interval.
        tell: called with the athletes done and all athletes.

    Raises:
        NoAnswerError: nothing can be said of anybody.
        SeasonFilesError: the squad folder cannot be read.
    """
    check_chance(chance)
    check_level(level)
    folders = {folder: squad.season(folder) for folder in squad.folders}
    unanswered: dict[str, tuple[Reason, ...]] = {}
    nights: dict[str, np.datetime64] = {}
    for folder, season in folders.items():
        try:
            nights[folder] = season.season.last_night
        except (NoAnswerError, SeasonError, OSError) as error:
            unanswered[folder] = why_not(error, squad.shown[folder])
    if morning is None and nights:
        morning = _morning(max(nights.values()), clock)
    answers: dict[str, Today] = {}
    for number, (folder, season) in enumerate(folders.items(), start=1):
        if folder in nights:
            try:
                answers[folder] = _today(season, nights[folder], chance, morning, level)
            except (NoAnswerError, SeasonError, OSError) as error:
                unanswered[folder] = why_not(error, squad.shown[folder])
        folders[folder] = SeasonFolder(season.path)  # lets go of its draws
        if tell:
            tell(number, len(folders))
    left_out = [Unanswered(squad.shown[f], unanswered[f]) for f in folders if f in unanswered]
    if not answers:
        raise NoAnswerError(Reason("nobody answered", athletes=len(folders)), *_all(left_out))
    return SquadToday(
        about_squad(squad, level, (nights[f] for f in answers), ()),
        tuple(left_out),
        morning=next(iter(answers.values())).morning,
        chance_asked=chance,
        athletes=tuple(
            _athlete(squad.shown[folder], nights[folder], answer)
            for folder, answer in answers.items()
        ),
    )


def _morning(last: np.datetime64, clock: dt.date | None) -> np.datetime64:
    """Return the day that it is, as far as it can be foreseen; else the last reading's."""
    now = last if clock is None else np.datetime64(clock, "D")
    return now if last <= now <= last + np.timedelta64(FARTHEST, "D") else last


def _today(
    season: SeasonFolder,
    last: np.datetime64,
    chance: float,
    morning: np.datetime64 | None,
    level: float,
) -> Today:
    if morning is not None and morning < last:
        raise NoAnswerError(Reason("read later too", last_night=str(last)))
    if morning is not None and morning - last > np.timedelta64(FARTHEST, "D"):
        raise NoAnswerError(Reason("read too long ago", last_night=str(last), days=FARTHEST))
    return today(season, chance, morning, level)


def _athlete(shown: str, last: np.datetime64, answer: Today) -> AthleteToday:
    return AthleteToday(
        athlete=shown,
        last_read=day_of(last),
        reading_ms=answer.reading_ms,
        reading_percent=answer.reading_percent,
        dip_left_ln=answer.dip_left_ln,
        chance_at_baseline=answer.chance_at_baseline,
        at_baseline=answer.at_baseline,
        from_=answer.types[0].from_ if answer.types else answer.back_by,
        unexplained=answer.unexplained,
        logged=answer.logged,
        mind=as_shown((w for w in answer.about.warnings if w.code != "unexplained"), shown),
    )


def _all(left_out: list[Unanswered]) -> list[Reason]:
    return list(dict.fromkeys(why for each in left_out for why in each.why))
