"""The page's sections: which parts answer each of its questions.

Each takes all that was asked and returns its parts; where a question has no answer, a part says
why. Which section shows a question, and in what order, is in `slackwater.fitting.questions`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final

from slackwater.fitting.measures.verdicts import UNDECIDED
from slackwater.fitting.report.asked import Asked
from slackwater.fitting.report.page import (
    parts_contrasts,
    parts_recovery,
    parts_residuals,
    parts_season,
    parts_today,
)
from slackwater.fitting.report.page.part import Part, refusal
from slackwater.fitting.report.reasons import sentences, told

Parts = tuple[Part, ...]

WITH: Final = "forecast with "
COMPARED: Final = "compare intervention "


def today(asked: Asked) -> Parts:
    """Where the athlete stands this morning."""
    return (_part(asked, "today", "Today", parts_today.today, "today", "forecast", "course"),)


def tomorrow(asked: Asked) -> Parts:
    """The next reading, at rest and after a session of each type."""

    def make(rest: Any) -> Part:
        return parts_today.tomorrow(rest, asked.about(WITH))

    first = _part(asked, "tomorrow", "Next reading", make, "forecast")
    if "forecast" in asked.refused:
        return (first,)
    return (first, _part(asked, "coming", "", parts_today.coming_mornings, "forecast"))


def recovery(asked: Asked) -> Parts:
    """Days to recover by session type, and the chance by each day."""
    by_type = _part(asked, "recovery", "By session type", parts_recovery.recovery, "recovery")
    if "recovery" in asked.refused:
        return (by_type,)
    return (by_type, parts_recovery.chances(asked.answers["recovery"]))


def explain(asked: Asked) -> Parts:
    """What the last reading is made of."""
    return (_part(asked, "explain", "Why", parts_today.explain, "explain"),)


def elements(asked: Asked) -> Parts:
    """What types of training differ in."""
    return (_part(asked, "elements", "Types", parts_contrasts.elements, "elements"),)


def measures(asked: Asked) -> Parts:
    """Each recovery measure by itself, and everything tested together."""
    compared, refused = asked.about(COMPARED), asked.refused_about(COMPARED)
    ledger = _part(asked, "tested", "Everything tested", parts_contrasts.tested, "trial ledger")
    if not compared and not refused:
        return (ledger,)
    overview = _minding(asked, parts_contrasts.measures(compared, refused), [*compared.values()])
    decided = [answer for answer in compared.values() if answer.verdict != UNDECIDED]
    return (overview, *map(parts_contrasts.measure, decided), ledger)


def plan(asked: Asked) -> Parts:
    """What became of the plans that were kept."""
    return (_part(asked, "plan", "The plan", parts_season.plan, "spacing check"),)


def history(asked: Asked) -> Parts:
    """Baseline over the season."""
    return (_part(asked, "history", "Season", parts_season.history, "history", "course"),)


def worth(asked: Asked) -> Parts:
    """What the fit is worth."""
    return (_part(asked, "worth", "Worth", parts_season.worth, "worth"),)


def residuals(asked: Asked) -> Parts:
    """Whether the model describes the season, and where not."""
    first = _part(asked, "described", "Residuals", parts_residuals.described, "residuals")
    if "residuals" in asked.refused:
        return (first,)
    answer = asked.answers["residuals"]
    after = (parts_residuals.after_sessions(answer),) if answer.by_nights_since_session else ()
    return (first, parts_residuals.by_weekday(answer), *after)


def _part(asked: Asked, id: str, title: str, make: Callable[..., Part], *questions: str) -> Part:
    """Return the part made from the answers to some questions, or why there is none."""
    for question in questions:
        if question in asked.refused:
            return refusal(id, title, told(asked.refused[question]))
    answers = [asked.answers[question] for question in questions]
    return _minding(asked, make(*answers), answers)


def _minding(asked: Asked, part: Part, answers: Sequence[Any]) -> Part:
    """Add to a part what to mind with its answers, unless it stands at the top of the page."""
    above = sentences(asked.answers["baseline"].about.warnings)
    mind = sentences(w for answer in answers for w in answer.about.warnings)
    return replace(part, minds=tuple(w for w in mind if w not in above))
