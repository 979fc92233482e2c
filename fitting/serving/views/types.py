"""Session types: what each takes, how sure that is, what to repeat next; and rest."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from slackwater.fitting.questions import question
from slackwater.fitting.report.page.part import Part, refusal
from slackwater.fitting.report.pieces import pieces
from slackwater.fitting.report.reasons import sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Shown
from slackwater.model.errors import NoAnswerError


def show(ask: Ask) -> Answered:
    """Show what the session types take."""
    from slackwater.fitting.report.page import parts_contrasts, parts_recovery

    def recovery() -> tuple[Part, Part]:
        answer = question("recovery").ask(ask.season)
        return parts_recovery.recovery(answer), parts_recovery.chances(answer)

    by_type, chances = ask.once("recovery", recovery)
    elements = ask.once(
        "elements", _part(ask, "elements", "What types differ in", parts_contrasts.elements)
    )
    facts = {
        "by_type": by_type,
        "chances": chances,
        "elements": elements,
    }
    return Shown("types", "Days to recover, by session type", facts)


def show_repeats(ask: Ask) -> Answered:
    """Show how far repeats agree, and what to repeat next."""
    facts = {"heading": "Do repeats agree, and what to repeat next"}
    found = ask.once("repeats", _text(ask, "repeats"))
    return Shown("text", "Repeats", {**facts, "told_pieces": found})


def show_rest(ask: Ask) -> Answered:
    """Show how much more rest leads to baseline; before a first fit too."""
    found = ask.once("washout", _text(ask, "washout"))
    facts = {"heading": "Rest to baseline", "told_pieces": found}
    return Shown("text", "Rest to baseline", facts)


def _part(ask: Ask, name: str, title: str, make: Callable[[Any], Part]) -> Callable[[], Part]:
    def work() -> Part:
        try:
            return make(question(name).ask(ask.season))
        except NoAnswerError as error:
            return refusal(name, title, told(error))

    return work


def _text(ask: Ask, name: str) -> Callable[[], dict[str, Any]]:
    """Return what tells a question's answer, or why there is none."""

    def work() -> dict[str, Any]:
        row = question(name)
        try:
            answer = row.ask(ask.season)
        except NoAnswerError as error:
            return {"pieces": [], "mind": [told(error)]}
        return {"pieces": pieces(row.tell(answer)), "mind": sentences(answer.about.warnings)}

    return work
