"""What the answers about trials share."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from slackwater.fitting.answers.sayings import SCHEMA
from slackwater.fitting.records.lots import WITH, WITHOUT
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.trials.stretches import (
    Days,
    Stretch,
    assigned_days,
    counted,
    logged_days,
)
from slackwater.model.season import Season


def trial_answer(
    data: xr.Dataset,
    question: str,
    season: Season,
    level: float,
    warnings: list[str],
    **facts: Any,
) -> xr.Dataset:
    """Add to an answer's numbers what every answer carries, where no posterior is needed.

    Args:
        data: the numbers.
        question: the name of the question answered.
        season: the season.
        level: credible mass of every interval.
        warnings: what to mind with this answer, a sentence each.
        **facts: further attributes.
    """
    return data.assign_attrs(
        question=question,
        schema=SCHEMA,
        season=season.name,
        last_night=str(season.last_night),
        level=level,
        warnings=warnings,
        **facts,
    )


def missed(season: Season, trial: Trial, stretches: list[Stretch], before: np.datetime64) -> Days:
    """Return the days on which the measure was assigned and not logged."""
    given = assigned_days(stretches, WITH)
    return np.setdiff1d(given[given < before], logged_days(season, trial.plan.measure))


def strayed(season: Season, trial: Trial, stretches: list[Stretch], before: np.datetime64) -> Days:
    """Return the days on which the measure was logged in the trial and not assigned."""
    start = np.datetime64(trial.plan.start, "D")
    logged = logged_days(season, trial.plan.measure)
    logged = logged[(logged >= start) & (logged < before)]
    return np.setdiff1d(logged, assigned_days(stretches, WITH))


def guards(season: Season, trial: Trial, stretches: list[Stretch]) -> list[str]:
    """Return what endangers the trial, a sentence each."""
    start = np.datetime64(trial.plan.start, "D")
    said = []
    for name in season.interventions:
        days = logged_days(season, name)
        if name != trial.plan.measure and len(days) and days.min() >= start:
            said.append(
                f"{name!r} is new since the trial began ({days.min()}). One measure at a time: "
                f"leave it out until the trial is over, or its effect mixes with that of "
                f"{trial.plan.measure!r}."
            )
    for stretch in stretches:
        if stretch.stressors:
            listed = ", ".join(repr(s) for s in stretch.stressors)
            said.append(
                f"The stretch of {stretch.first} ({stretch.label}) had a stressor ({listed}): it "
                "is marked, and does not count towards the planned number."
            )
    counts = counted(stretches)
    # Pairs keep the arms within one session a type of each other; more apart means that
    # stretches of one arm drop out more often.
    if abs(counts[WITH] - counts[WITHOUT]) > len(trial.plan.types):
        less = WITH if counts[WITH] < counts[WITHOUT] else WITHOUT
        said.append(
            f"The arms are unbalanced: {counts[WITH]} sessions with and {counts[WITHOUT]} "
            f"without. Sessions {less} drop out more often (a missing reading, a session the next "
            "day, a stressor); if that is because of the measure, the comparison is biased."
        )
    return said
