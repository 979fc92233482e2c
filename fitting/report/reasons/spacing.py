"""Sentences about plans: why there is none or it no longer holds, how it is chosen and judged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence


def _planned_before_the_drop(since: str) -> str:
    return (
        f"Readings lie lower since {words.day_name(since)}, and the log does not explain it. No "
        "planned session holds until that has passed."
    )


def _done_beside_the_plan(type: str, date: str) -> str:
    return f"{type} on {words.day_name(date)} was not in the plan."


def _reading_far_off(date: str, reading_ms: float, foretold_ms: float) -> str:
    return (
        f"The reading of {words.day_name(date)}, {reading_ms:.0f} ms, lies far from the "
        f"{foretold_ms:.0f} ms that were foretold for it."
    )


def _begins_too_early(type: str, date: str, chance: float, asked: float) -> str:
    return (
        f"{type} on {words.day_name(date)} would now begin with a chance of {words.chance(chance)} "
        f"to be recovered; {words.chance(asked)} was asked for."
    )


def _another_threshold(planned: float | None, percent: float | None) -> str:
    return (
        "When it was made, recovered meant that the dips lie under "
        f"{words.threshold(planned)}; now it is {words.threshold(percent)}."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "no plan while unexplained": "No plan is made while that is so, since it would send you into "
    "hard work on a body that is not at its baseline.",
    "nothing to plan with": "No session is logged that a reading could show, so there is nothing "
    "to plan with. Log sessions in sessions.csv (date, type), then fit again.",
    "too many plans": "{sessions} sessions in {days} days make more plans than can be gone "
    "through; ask for fewer sessions, types or days at once.",
    "perhaps a better plan": "There are too many plans to go through them all: this one meets "
    "every chance, but an earlier or more even one may exist.",
    "spacing rule": "at most one session a day; of the plans that meet every chance, the one that "
    "finishes first, then the most evenly spaced, then the one with the most to spare",
    "no plan kept": "No plan was kept for this season; plan, keep the plan, and check it when its "
    "days have passed.",
    "done after the fit": "{count} of the planned sessions done lie after the last fitted reading "
    "({last_night}) and are not judged yet; fit again.",
    "few promises judged": "With {judged} judged so far, only a promise that is far off would "
    "show; {enough} or more say something.",
    "moved session rule": "moved: another session of the type was done at most {days} days off, "
    "and no planned one stands for it; missed: none was",
    "promise judged rule": "a promise is judged where the session was done on its day and all "
    "until then as planned",
    "promise share rule": "each morning is judged by the whole fit, with what that does not know "
    "either; the range found also allows for so few mornings",
    "promise verdict rule": "as promised while the mean of the promised chances lies in the range "
    "of the share; less or more often once it does not",
    "planned before the drop": _planned_before_the_drop,
    "plan under another threshold": _another_threshold,
    "done beside the plan": _done_beside_the_plan,
    "reading far from foretold": _reading_far_off,
    "begins too early now": _begins_too_early,
}
