"""What to type: the command line of each next step, and of what mends a refusal."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from slackwater.fitting.journey.next_step import NextStep
from slackwater.fitting.text import escaped
from slackwater.model.errors import Reason

_WAYS: Final[Mapping[str, str]] = {
    "begin": "check {folder}",
    "mend": "check {folder}",
    "rest": "washout {folder}",
    "read": "washout {folder}",
    "fit": "fit {folder}",
    "judge": "trial analyse {folder}",
    "trial": "trial today {folder}",
    "books": "trial ledger {folder}",
    "adopt": "history {folder} --from {judged}",
    "fit what is new": "fit {folder}",
    "find out": "explain {folder}",
    "rest on": "washout {folder}",
    "train": "fit {folder}",
    "fit again": "fit {folder}",
    "recovery": "recovery {folder}",
    "repeats": "repeats {folder}",
    "elements": "elements {folder}",
    "train on": "fit {folder}",
    "train what is rare": "fit {folder}",
    "plan otherwise": "spacing {folder} --want TYPE:COUNT --days DAYS --keep",
    "plan": "spacing {folder} --want {wanted} --days 14 --keep",
    "follow the plan": "fit {folder}",
    "plan anew": "spacing {folder} {left} --days {plan_days} --keep",
    "fit the plan's days": "fit {folder}",
    "check the plan": "spacing {folder} --check",
    "plan a trial": "trial plan {folder} --measure NAME",
    "look back": "history {folder} --from {judged}",
    "another trial": "trial plan {folder} --measure NAME",
    "another measure": "trial plan {folder} --measure NAME",
}

_MENDS: Final[Mapping[str, str]] = {
    "no posterior": "fit {folder}",
    "damaged posterior": "fit {folder}",
    "foreign posterior": "fit {folder}",
    "unreadable posterior": "fit {folder}",
    "edited since the fit": "fit {folder}",
    "new since the fit": "fit {folder}",
    "another story since the fit": "fit {folder}",
    "no plan kept": "spacing {folder} --want TYPE:COUNT --days DAYS --keep",
    "no open trial": "trial plan {folder} --measure NAME",
    "no trial yet": "trial plan {folder} --measure NAME",
    "too small to find": "trial plan {folder} --measure {measure} --smallest {found_days:.1f}",
    "trial stopped": "compare {folder} --intervention {measure}",
}


def way(step: NextStep, folder: Path) -> str:
    """Return what to type for a step."""
    wanted = shlex.quote(f"{step.facts['plan_for']}:2")
    left = (f"--want {shlex.quote(f'{t}:{count}')}" for t, count in step.facts["plan_left"])
    typed = {"wanted": wanted, "left": " ".join(left)}
    return _command(_WAYS[step.stage], folder, {**step.facts, **typed})


def mend(reasons: Iterable[Reason], folder: Path) -> str | None:
    """Return what to type to mend what a refusal names; None where no command does."""
    for reason in reasons:
        if reason.code in _MENDS:
            facts = {
                k: shlex.quote(v) if isinstance(v, str) else v for k, v in reason.facts.items()
            }
            return _command(_MENDS[reason.code], folder, facts)
    return None


def _command(way: str, folder: Path, facts: Mapping[str, Any]) -> str:
    return escaped(f"slackwater {way.format(folder=shlex.quote(str(folder)), **facts)}")
