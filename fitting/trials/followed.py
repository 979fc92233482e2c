"""A trial as far as it has come, and what endangers it.

Days not as assigned, a second new measure, arms out of balance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import Planned
from slackwater.fitting.trials.stretches import (
    Days,
    Stretch,
    assigned,
    assigned_days,
    counted,
    logged_days,
    planned_part,
    stretches_of,
)
from slackwater.model.errors import Reason
from slackwater.model.season import Season


@dataclass(frozen=True)
class Followed:
    """A trial as far as it has come.

    Attributes:
        season: the season as it is now.
        plan: the trial's plan.
        stretches: its recovery stretches that have begun, up to the one that completes it.
        complete: whether the planned number is reached.
    """

    season: Season
    plan: Planned
    stretches: list[Stretch]
    complete: bool

    @property
    def recovered(self) -> dict[Arm, int]:
        """How many recovered days of each arm were read."""
        return counted(self.stretches, recovered=True)

    @property
    def reached(self) -> dict[Arm, int]:
        """How many stretches of each arm tell of recovery."""
        return counted(self.stretches)

    def missed(self, before: np.datetime64) -> Days:
        """Return the days on which the measure was assigned and not logged."""
        given = assigned_days(self.stretches, WITH)
        return np.setdiff1d(given[given < before], logged_days(self.season, self.plan.measure))

    def strayed(self, before: np.datetime64) -> Days:
        """Return the days on which the measure was logged in the trial and not assigned."""
        logged = logged_days(self.season, self.plan.measure)
        logged = logged[(logged >= np.datetime64(self.plan.start, "D")) & (logged < before)]
        return np.setdiff1d(logged, assigned_days(self.stretches, WITH))

    def dangers(self) -> list[Reason]:
        """Return what endangers the trial."""
        weighed = [
            Reason(
                "stressor in a stretch",
                first=str(stretch.first),
                type=stretch.label,
                stressors=list(stretch.stressors),
            )
            for stretch in self.stretches
            if stretch.stressors
        ]
        return [*self._other_threshold(), *self._new_measures(), *weighed, *self._unbalanced()]

    def _other_threshold(self) -> list[Reason]:
        planned, percent = self.plan.threshold_percent, self.season.threshold_percent
        if planned == percent:
            return []
        return [Reason("trial under another threshold", planned=planned, percent=percent)]

    def _new_measures(self) -> list[Reason]:
        """Return the other measures that were first used since the trial began."""
        start, tried = np.datetime64(self.plan.start, "D"), self.plan.measure
        used = {name: logged_days(self.season, name) for name in self.season.interventions}
        return [
            Reason("another new measure", measure=name, since=str(days.min()), tried=tried)
            for name, days in used.items()
            if name != tried and len(days) and days.min() >= start
        ]

    def _unbalanced(self) -> list[Reason]:
        counts = self.reached
        # Pairs keep the arms within one session a type of each other; more apart means that
        # stretches of one arm drop out more often.
        if abs(counts[WITH] - counts[WITHOUT]) <= len(self.plan.types):
            return []
        less = WITH if counts[WITH] < counts[WITHOUT] else WITHOUT
        sessions = {f"sessions_{arm}": count for arm, count in counts.items()}
        return [Reason("unbalanced arms", **sessions, less=less)]


def follow(season: Season, plan: Planned, until: np.datetime64 | None = None) -> Followed:
    """Follow a trial through the season as it is now.

    Args:
        season: sessions after the last reading included.
        plan: the trial's plan.
        until: the last day on which a stretch may begin; any if left out.
    """
    every = stretches_of(season, assigned(plan), until)
    begun = [s for s in every if until is None or s.first <= until]
    part = planned_part(begun, plan.sessions_per_arm)
    return Followed(season, plan, begun if part is None else part, part is not None)
