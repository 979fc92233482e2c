"""A trial followed through a season: its recovery stretches, and what was read and logged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from slackwater.fitting.records.lots import (
    LONGEST_STRETCH,
    RECOVERED,
    WITH,
    WITHOUT,
    Arm,
    arm_of,
)
from slackwater.fitting.records.trials import Planned
from slackwater.model import names as n
from slackwater.model.season import DAY, Season

FIRST_MORNING: Final = 2  # days after the session: the first reading a measure can change
LAST_MORNING: Final = 4  # by then most of a dip is gone, with the measure or without it

Days = NDArray[np.datetime64]


class Assigned(NamedTuple):
    """What the assignment of a trial depends on.

    Attributes:
        start: first day on which a session belongs to the trial.
        types: the trial's session types; where two are done on one day, the first listed
            gives the stretch its name.
        seed: the seed of the assignment.
        recovered_after: days from a session of each type until it is recovered from; empty where
            recovered days are not drawn.
    """

    start: np.datetime64
    types: Sequence[str]
    seed: int
    recovered_after: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True)
class Stretch:
    """One session's recovery, with or without the measure on all its days; or a recovered day.

    Attributes:
        label: the session's type; `RECOVERED` for a recovered day.
        number: which session of its type in the trial, from 0; 0 and 1 are a pair.
        arm: "with" or "without" the measure.
        first: the session's day.
        last: the last assigned day: the day before the next session, at most the 7th.
        next: the day of the trial's next session, None where none is logged.
        mornings: of the 2nd to 4th morning after the session, those before the next one
            is felt that were read.
        over: whether the last of those mornings is past, read or not.
        stressors: stressors on its days.
    """

    label: str
    number: int
    arm: Arm
    first: np.datetime64
    last: np.datetime64
    next: np.datetime64 | None
    mornings: Days = field(repr=False)
    over: bool
    stressors: tuple[str, ...] = ()

    @property
    def recovered(self) -> bool:
        """Whether it is a recovered day, on which only what lifts a reading can show."""
        return self.label == RECOVERED

    @property
    def days(self) -> Days:
        """The assigned days."""
        return np.arange(self.first, self.last + DAY)

    @property
    def end(self) -> np.datetime64:
        """The last morning that it is judged by."""
        latest = self.first + LAST_MORNING * DAY
        return latest if self.next is None else min(latest, self.next)

    @property
    def counts(self) -> bool:
        """Whether it tells of recovery: it is over, was read, and had no stressor."""
        return self.over and len(self.mornings) > 0 and not self.stressors


def assigned(plan: Planned) -> Assigned:
    """Return what the assignment of a planned trial depends on."""
    start = np.datetime64(plan.start, "D")
    return Assigned(start, list(plan.types), plan.seed, plan.recovered_after)


def stretches_of(
    season: Season, trial: Assigned, until: np.datetime64 | None = None
) -> list[Stretch]:
    """Return the recovery stretches and recovered days of a trial that have begun, in order.

    Args:
        season: the season as it is now, sessions after the last reading included.
        trial: what the assignment depends on.
        until: the last day of which recovered days are told; the last reading's if left out.
    """
    until = season.last_night if until is None else until
    sessions = _sessions(season, trial)
    seen = dict.fromkeys([*trial.types, RECOVERED], 0)
    free = trial.start  # the first day on which all sessions so far are recovered from
    found = []

    def add(label: str, first: np.datetime64, last: np.datetime64, following: Any) -> None:
        arm = arm_of(trial.seed, label, seen[label])
        found.append(_stretch(season, label, seen[label], arm, first, last, following))
        seen[label] += 1

    for at, (day, label) in enumerate(sessions):
        following = sessions[at + 1][0] if at + 1 < len(sessions) else None
        last = day + (LONGEST_STRETCH - 1) * DAY
        if trial.recovered_after:
            free = max(free, day + trial.recovered_after[label] * DAY)
            last = min(last, free - DAY)
        last = last if following is None else min(last, following - DAY)
        add(label, day, last, following)
        if trial.recovered_after:
            end = until if following is None else min(until, following - DAY)
            for alone in np.arange(free, end + DAY):
                add(RECOVERED, alone, alone, alone + DAY)
    return found


def _stretch(
    season: Season,
    label: str,
    number: int,
    arm: Arm,
    first: np.datetime64,
    last: np.datetime64,
    following: np.datetime64 | None,
) -> Stretch:
    """Return one stretch, or recovered day, with what was read and logged of it."""
    read = season.nights[season.read]
    earliest = first + (1 if label == RECOVERED else FIRST_MORNING) * DAY
    end = first + LAST_MORNING * DAY
    end = end if following is None else min(end, following)
    stressor_days = _days(season.data[n.STRESSOR_DATE].values)
    weighed = (stressor_days >= first) & (stressor_days <= last)
    return Stretch(
        label=label,
        number=number,
        arm=arm,
        first=first,
        last=last,
        next=following,
        mornings=read[(read >= earliest) & (read <= end)],
        over=bool(season.last_night >= end),
        stressors=tuple(sorted({str(s) for s in season.data[n.STRESSOR_LABEL].values[weighed]})),
    )


def counted(stretches: Sequence[Stretch], *, recovered: bool = False) -> dict[Arm, int]:
    """Return how many stretches of each arm tell of recovery.

    Args:
        stretches: those begun.
        recovered: count the recovered days that were read instead, which tell of the lift.
    """
    told = [s.arm for s in stretches if s.counts and s.recovered == recovered]
    return {arm: told.count(arm) for arm in (WITH, WITHOUT)}


def planned_part(stretches: Sequence[Stretch], sessions_per_arm: int) -> list[Stretch] | None:
    """Return the stretches up to the one that completes the trial, None before that.

    What is done after the planned end takes no part, so that going on cannot change the
    result.
    """
    so_far: dict[Arm, int] = {WITH: 0, WITHOUT: 0}
    for at, stretch in enumerate(stretches):
        so_far[stretch.arm] += stretch.counts and not stretch.recovered
        if min(so_far.values()) >= sessions_per_arm:
            return list(stretches[: at + 1])
    return None


def logged_days(season: Season, measure: str) -> Days:
    """Return the days on which a measure was logged."""
    days = _days(season.data[n.APPLIED].values)
    return np.asarray(days[season.data["applied_intervention"].values == measure])


def assigned_days(stretches: Sequence[Stretch], arm: Arm) -> Days:
    """Return all assigned days of one arm."""
    days = [s.days for s in stretches if s.arm == arm]
    return np.concatenate(days) if days else np.array([], "datetime64[D]")


def trial_season(
    season: Season, measure: str, stretches: Sequence[Stretch], *, as_assigned: bool
) -> Season:
    """Return what a trial is judged from: the season up to its last stretch's end.

    Use of the measure before the trial gets another label, so that only the trial's own
    days speak: what was seen before is why the measure was put to trial.

    Args:
        season: the season as it is now.
        measure: the measure under trial.
        stretches: the stretches to judge by, at least one.
        as_assigned: take the measure as used on the days assigned to it; otherwise on the
            days logged.
    """
    tables = season.tables()
    table = before_trial(tables["interventions"], measure, stretches[0].first)
    tables["interventions"] = used_as_assigned(table, measure, stretches) if as_assigned else table
    ends = [s.end for s in stretches if s.over]
    last = min(season.last_night, max(ends)) if ends else season.last_night
    judged = Season.from_tables(season.name, **tables)
    return replace(judged, threshold_percent=season.threshold_percent).through(last)


def before_trial(table: pd.DataFrame, measure: str, first: np.datetime64) -> pd.DataFrame:
    """Return the days of use with those of a measure before its trial under another label."""
    earlier = (table["intervention"] == measure) & (_days(table["date"].to_numpy()) < first)
    return table.assign(intervention=table["intervention"].where(~earlier, outside(measure)))


def outside(measure: str) -> str:
    """Return the label of a measure's use before its trial."""
    return f"{measure} (outside the trial)"


def used_as_assigned(
    table: pd.DataFrame, measure: str, stretches: Sequence[Stretch]
) -> pd.DataFrame:
    """Return the days of use with a measure used on the days assigned to it, and on no others."""
    days = assigned_days(stretches, WITH)
    used = pd.DataFrame({"date": days, "intervention": [measure] * len(days)})
    return pd.concat([table[table["intervention"] != measure], used], ignore_index=True)


def _sessions(season: Season, trial: Assigned) -> list[tuple[np.datetime64, str]]:
    """Return the trial's sessions by day, one a day."""
    rank = {label: place for place, label in enumerate(trial.types)}
    dates = _days(season.data[n.SESSION_DATE].values)
    by_day: dict[np.datetime64, str] = {}
    for day, label in zip(dates, season.data[n.SESSION_TYPE].values, strict=True):
        if day < trial.start or str(label) not in rank:
            continue
        known = by_day.get(day)
        if known is None or rank[str(label)] < rank[known]:
            by_day[day] = str(label)
    return sorted(by_day.items())


def _days(dates: object) -> Days:
    return np.asarray(dates, dtype="datetime64[ns]").astype("datetime64[D]")
