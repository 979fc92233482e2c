"""What endangers a trial: days not as assigned, a second new measure, arms out of balance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from slackwater.fitting.records.lots import WITH, WITHOUT
from slackwater.fitting.records.trials import Planned
from slackwater.fitting.trials.stretches import (
    Days,
    Stretch,
    assigned_days,
    counted,
    logged_days,
)
from slackwater.model.errors import Reason
from slackwater.model.season import Season


def missed(
    season: Season, plan: Planned, stretches: Sequence[Stretch], before: np.datetime64
) -> Days:
    """Return the days on which the measure was assigned and not logged."""
    given = assigned_days(stretches, WITH)
    return np.setdiff1d(given[given < before], logged_days(season, plan.measure))


def strayed(
    season: Season, plan: Planned, stretches: Sequence[Stretch], before: np.datetime64
) -> Days:
    """Return the days on which the measure was logged in the trial and not assigned."""
    logged = logged_days(season, plan.measure)
    logged = logged[(logged >= np.datetime64(plan.start, "D")) & (logged < before)]
    return np.setdiff1d(logged, assigned_days(stretches, WITH))


def guards(season: Season, plan: Planned, stretches: Sequence[Stretch]) -> list[Reason]:
    """Return what endangers the trial."""
    return [
        *_new_measures(season, plan),
        *(
            Reason(
                "stressor in a stretch",
                first=str(stretch.first),
                type=stretch.label,
                stressors=list(stretch.stressors),
            )
            for stretch in stretches
            if stretch.stressors
        ),
        *_unbalanced(plan, stretches),
    ]


def _new_measures(season: Season, plan: Planned) -> list[Reason]:
    """Return the other measures that were first used since the trial began."""
    start = np.datetime64(plan.start, "D")
    used = {name: logged_days(season, name) for name in season.interventions}
    return [
        Reason("another new measure", measure=name, since=str(days.min()), tried=plan.measure)
        for name, days in used.items()
        if name != plan.measure and len(days) and days.min() >= start
    ]


def _unbalanced(plan: Planned, stretches: Sequence[Stretch]) -> list[Reason]:
    counts = counted(stretches)
    # Pairs keep the arms within one session a type of each other; more apart means that
    # stretches of one arm drop out more often.
    if abs(counts[WITH] - counts[WITHOUT]) <= len(plan.types):
        return []
    less = WITH if counts[WITH] < counts[WITHOUT] else WITHOUT
    sessions = {f"sessions_{arm}": count for arm, count in counts.items()}
    return [Reason("unbalanced arms", **sessions, less=less)]
