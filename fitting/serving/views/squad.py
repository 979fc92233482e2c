"""All seasons of a folder as a squad: its morning, days to recover, and all of them learnt anew."""

from __future__ import annotations

from typing import Any

from slackwater.fitting.questions import question
from slackwater.fitting.report.caution import caution
from slackwater.fitting.report.page.part import named
from slackwater.fitting.report.reasons import told
from slackwater.fitting.report.squads import parts
from slackwater.fitting.report.squads.today import headline
from slackwater.fitting.serving.asked import SQUAD, Answered, Ask, Elsewhere, Shown, path_of
from slackwater.fitting.serving.work import FIT_SQUAD
from slackwater.fitting.squads.extra import needed
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.errors import NoAnswerError, QuestionError


def show(ask: Ask) -> Shown:
    """Show who is at baseline this morning, and what the group takes to recover."""
    squad = _squad(ask)
    work = ask.works.on(squad.path)
    facts = {
        "squad": named(squad.name),
        "links": {
            named(shown): path_of(folder)
            for folder, shown in squad.shown.items()
            if folder in ask.seasons.names
        },
        "work": work,
        "said": work.came.get("said", []) if work else [],
        "mind": work.came.get("mind", []) if work else [],
        **_told(ask, squad, busy=work is not None and work.running),
    }
    return Shown("squad", "The squad this morning", facts)


def fit(ask: Ask) -> Answered:
    """Learn anew from every season that changed, then from all of them together."""
    ask.works.start(_squad(ask).path, FIT_SQUAD)
    return Elsewhere(SQUAD)


def stop(ask: Ask) -> Answered:
    """Stop that; whoever was fitted stays so."""
    ask.works.stop(_squad(ask).path)
    return Elsewhere(SQUAD, ["Stopped. Who was learnt from stays so; the rest is as it was."])


def _squad(ask: Ask) -> SquadFolder:
    home = ask.seasons.squad
    if home is None:
        raise QuestionError("A squad is a folder of two seasons or more; open the page on that.")
    return SquadFolder(home)


def _told(ask: Ask, squad: SquadFolder, busy: bool) -> dict[str, Any]:
    """Return what is told of the squad, worked out once for its files as they are.

    While they are being written one after the other, what was told before stands.
    """
    kept = ask.seasons.told
    if not (busy and kept):
        state = ask.seasons.clock(), squad.stamps()
        if kept.get("state") != state:
            kept.update(state=state, told=_morning(ask, squad) | _recovery(squad))
    found: dict[str, Any] = kept["told"]
    return found


def _morning(ask: Ask, squad: SquadFolder) -> dict[str, Any]:
    try:
        answer = question("squad today").ask(squad, clock=ask.seasons.clock())
    except NoAnswerError as error:
        return {"morning": None, "no_morning": told(error)}
    return {
        "morning": parts.morning(answer),
        "date": str(answer.morning),
        "headline": headline(answer),
        "caution": caution(answer),
    }


def _recovery(squad: SquadFolder) -> dict[str, Any]:
    try:
        with needed():
            answer = question("squad recovery").ask(squad)
    except (NoAnswerError, QuestionError) as error:
        why = told(error) if isinstance(error, NoAnswerError) else str(error)
        return {"group": None, "no_group": why}
    types = [(each.type, parts.of_group(answer, each)) for each in answer.group]
    return {"group": parts.group(answer), "of_types": types}
