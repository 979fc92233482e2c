"""What a plan of the demo season's trial promises, and how fresh trials of its size end."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

from slackwater.fitting import Athlete
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.intake import read_season
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.trials.plan import Wanted, plan_trial
from slackwater.fitting.trials.rehearsal import Rehearsal, Rehearsed, rehearse

MEASURE: Final = "ice bath"
SMALLEST: Final = 1.0
PLAN_SEED: Final = 77
A_PLAN: Final = 40  # trials that a plan simulates


def promise(sessions: int | None) -> dict[str, Any]:
    """Return the chance that a plan promises, with its range, and the size it is for.

    Args:
        sessions: per arm; None for what the plan finds for four chances in five.
    """
    wanted = Wanted(MEASURE, PLAN_SEED, smallest=SMALLEST, sessions=sessions)
    answer = plan_trial(_demo(), wanted, run=lambda tasks: [rehearse(task) for task in tasks])
    return {"sessions": answer.sessions_per_arm, "chance": list(answer.expected_chance)}


def fresh(sessions: int, number: int) -> dict[str, Any]:
    """Return how one more trial of that size ends, of another draw of the athlete."""
    block, at = divmod(number, A_PLAN)
    return rehearse(demo_trials(1000 * (1 + block), sessions)[at])._asdict()


@cache
def _demo() -> Athlete:
    with tempfile.TemporaryDirectory() as folder:
        copy_demo(Path(folder) / "demo")
        season = read_season(Path(folder) / "demo")
    return Athlete(season, fit(season, cores=1))


@cache
def demo_trials(seed: int, sessions: int | None = None) -> list[Rehearsal]:
    """Return the trials that a plan of the demo season simulates."""
    kept: list[Rehearsal] = []

    def keep(tasks: Sequence[Rehearsal]) -> list[Rehearsed]:
        kept.extend(tasks)
        return [Rehearsed(t.sessions_per_arm, 1, 0.0, 0.0, 0.15, "undecided") for t in tasks]

    plan_trial(_demo(), Wanted(MEASURE, seed, smallest=SMALLEST, sessions=sessions), run=keep)
    return kept
