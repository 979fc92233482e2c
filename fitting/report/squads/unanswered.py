"""What is said of an athlete beside the answer: why there is none, what to mind with it."""

from __future__ import annotations

from collections.abc import Iterable

from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.squads.answer import Unanswered
from slackwater.fitting.squads.recovery import AthleteRecovery
from slackwater.fitting.squads.today import AthleteToday


def left_out(unanswered: Iterable[Unanswered]) -> list[str]:
    """Return a line for each athlete without an answer, and why."""
    return [f"No answer for {each.athlete}: {' '.join(sentences(each.why))}" for each in unanswered]


def to_mind(athletes: Iterable[AthleteToday | AthleteRecovery]) -> list[str]:
    """Return a line for each thing to mind with an athlete's answer."""
    return [f"{each.athlete}: {said}" for each in athletes for said in sentences(each.mind)]
