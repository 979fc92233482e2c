"""The caution that stands beside every answer: in full where it matters, else in one line."""

from typing import Final

from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.journey.today import Today
from slackwater.fitting.trials.today import TrialToday

SHORT_CAUTION: Final = "Past readings, no diagnosis: how you feel and licensed practice come first."
CAUTION: Final = (
    "This describes past readings and is no diagnosis. How you feel and licensed medical or "
    "coaching practice come first. Fever, chest pain, fainting or a long drop without a known "
    "cause mean rest and a physician, whatever the numbers say."
)


def caution(answer: Answer) -> str:
    """Return the caution that stands beside an answer.

    In full where readings are held down and nobody knows why, where something else weighed on the
    body lately, and on the mornings of a trial.
    """
    athletes = getattr(answer, "athletes", ())
    matters = (
        any(getattr(each, "unexplained", None) is not None for each in (answer, *athletes))
        or isinstance(answer, TrialToday)
        or (isinstance(answer, Today) and bool(answer.measure or answer.stressors))
    )
    return CAUTION if matters else SHORT_CAUTION
