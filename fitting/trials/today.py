"""What an open trial asks for on one day, and how far it has come. No result is shown."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.records.lots import WITH, WITHOUT
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.trials.guards import guards, missed, strayed, trial_answer
from slackwater.fitting.trials.stretches import (
    Stretch,
    assigned,
    counted,
    planned_part,
    stretches_of,
)
from slackwater.model import names as n
from slackwater.model.season import DAY, Season

ARM: Final = "arm"


def trial_today(
    season: Season, trial: Trial, day: np.datetime64 | None = None, level: float = DEFAULT_LEVEL
) -> xr.Dataset:
    """Answer whether the measure is to be used on a day, and until when.

    The arm of a session is told once the session is logged and not before, so that which
    session is done, and when, cannot follow from it.

    Args:
        season: the season as it is now.
        trial: an open trial of it.
        day: the day asked about; the last reading's if left out.
        level: as for every answer; no interval is shown.

    Returns:
        Dimensions `type` (the trial's), `arm`: `sessions` begun, `counted` (of them those
        that tell of recovery). Scalar `sessions_per_arm`. Attributes `measure`, `day`,
        `use` (True, False, or None where nothing is assigned), `stretch` (`type`, `first`,
        `until`), `complete`, `missed` and `strayed` (days on which the log differs from
        what was assigned), `marked`.
    """
    day = season.last_night if day is None else day
    begun = [s for s in stretches_of(season, assigned(trial.plan)) if s.first <= day]
    part = planned_part(begun, trial.plan.sessions_per_arm)
    running = begun if part is None else part
    today = next((s for s in running if s.first <= day <= s.last), None)
    labels = list(trial.plan.types)
    counts = {
        "sessions": [[_count(running, t, arm) for arm in (WITH, WITHOUT)] for t in labels],
        "counted": [
            [_count([s for s in running if s.counts], t, arm) for arm in (WITH, WITHOUT)]
            for t in labels
        ],
    }
    data = xr.Dataset(
        {
            "sessions_per_arm": trial.plan.sessions_per_arm,
            **{name: ((n.TYPE, ARM), np.array(values, int)) for name, values in counts.items()},
        },
        coords={n.TYPE: labels, ARM: [WITH, WITHOUT]},
    )
    return trial_answer(
        data,
        "trial today",
        season,
        level,
        guards(season, trial, running),
        measure=trial.plan.measure,
        status=trial.status(season.last_night.astype(object)),
        start=str(trial.plan.start),
        day=str(day),
        use=None if today is None else today.arm == WITH,
        stretch=None if today is None else _stretch(today),
        complete=part is not None,
        reached=counted(running),
        missed=[str(d) for d in missed(season, trial, running, day)],
        strayed=[str(d) for d in strayed(season, trial, running, day)],
        marked=[str(s.first) for s in running if s.stressors],
    )


def _count(stretches: list[Stretch], label: str, arm: str) -> int:
    return sum(s.label == label and s.arm == arm for s in stretches)


def _stretch(stretch: Stretch) -> dict[str, Any]:
    return {
        "type": stretch.label,
        "first": str(stretch.first),
        "until": str(stretch.last),
        "days": int((stretch.last - stretch.first) / DAY) + 1,
    }
