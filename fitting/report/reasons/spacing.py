"""Sentences about plans: why there is none, how one is chosen, how promises are judged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence

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
    "either; the range found also allows for so few mornings (binomial, Jeffreys)",
    "promise verdict rule": "as promised while the mean of the promised chances lies in the range "
    "of the share; less or more often once it does not",
}
