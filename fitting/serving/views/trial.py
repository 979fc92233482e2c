"""The trial: one planned, today's lot, how far it is, its verdict, and everything ever tested."""

from __future__ import annotations

import secrets
from typing import Any, Final

import numpy as np

from slackwater.fitting.journey.today import morning_of
from slackwater.fitting.questions import question
from slackwater.fitting.records.trials import (
    Planned,
    Trial,
    latest_trial,
    stop_trial,
    this_moment,
)
from slackwater.fitting.report.pieces import from_plain, pieces
from slackwater.fitting.report.reasons import sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown
from slackwater.fitting.serving.work import JUDGE_TRIAL, PLAN_TRIAL
from slackwater.fitting.trials.analyse import due
from slackwater.fitting.trials.plan import CHANCE
from slackwater.model.errors import NoAnswerError, QuestionError

_DOING: Final = {
    PLAN_TRIAL: "Simulating whole trials and fitting each",
    JUDGE_TRIAL: "Judging the trial",
}


def show(ask: Ask) -> Answered:
    """Show the trial that is on, or room for one."""
    season = ask.season
    last = latest_trial(season.trials) if season.trials else None
    work = ask.works.on(season.path)
    facts = {
        "trial": last,
        "open": last is not None and last.open,
        "due": last is not None and _due(ask, last),
        "today": asked_today(ask),
        "measures": list(season.season.interventions),
        "start": season.season.last_night + np.timedelta64(1, "D"),
        "work": work if work is not None and work.kind in _DOING else None,
        "doing": _DOING.get(work.kind, "") if work else "",
        "chance": round(100 * CHANCE),
        "busy": work is not None and work.running,
        "came": from_plain(work.came["told"]) if work and "told" in work.came else [],
        "judged_now": bool(work and work.kind == JUDGE_TRIAL and work.came),  # its answer says how
        "came_mind": work.came.get("mind", []) if work else [],
        "to_register": bool(work and work.kind == PLAN_TRIAL and _event(ask)),
        "ledger": ask.once("ledger", lambda: _ledger(ask)),
    }
    return Shown("trial", "A recovery measure on trial", facts)


def plan(ask: Ask) -> Answered:
    """Work out how large a trial must be; nothing is registered by that.

    Raises:
        QuestionError: what is asked for makes no sense.
    """
    sessions, start = ask.whole("sessions", 0, most=64), ask.day("start")
    chance = _number(ask.one("chance"))
    ask.works.start(
        ask.season.path,
        PLAN_TRIAL,
        measure=ask.one("measure"),
        smallest=_number(ask.one("smallest")),
        chance=CHANCE if chance is None else chance / 100,
        sessions=sessions or None,
        start=str(start) if start else None,
        seed=secrets.randbelow(2**32),
    )
    return Elsewhere(ask.to("trial"))


def register(ask: Ask) -> Answered:
    """Register the trial that was worked out."""
    event = _event(ask)
    if event is None:
        raise QuestionError("There is no plan of a trial to register; work one out first.")
    planned = Planned(**event)
    if any(trial.open for trial in ask.season.trials):
        raise QuestionError("A trial is open already. One measure at a time.")
    ask.season.record(planned)
    ask.works.forget(ask.season.path)
    return Elsewhere(ask.to("trial"), [f"Registered the trial of {planned.measure}."])


def judge(ask: Ask) -> Answered:
    """Judge the trial by its rule, once it may be."""
    due(ask.season.season, latest_trial(ask.season.trials))
    ask.works.start(ask.season.path, JUDGE_TRIAL)
    return Elsewhere(ask.to("trial"))


def give_up(ask: Ask) -> Answered:
    """Stop the open trial, for a reason that the record keeps."""
    ask.season.record(stop_trial(ask.season.trials, ask.one("because"), this_moment()))
    return Elsewhere(ask.to("trial"), ["The trial is stopped, and stays in the record."])


def _event(ask: Ask) -> dict[str, Any] | None:
    work = ask.works.on(ask.season.path)
    return None if work is None else work.came.get("event")


def _due(ask: Ask, trial: Trial) -> bool:
    try:
        due(ask.season.season, trial)
    except NoAnswerError:
        return False
    return trial.open


def asked_today(ask: Ask) -> list[Any]:
    """Return what the open trial asks for today; nothing where none is open."""
    season, clock, row = ask.season, ask.seasons.clock(), question("trial today")
    if not any(trial.open for trial in season.trials):
        return []

    def work() -> list[Any]:
        return pieces(row.tell(row.ask(season, morning_of(season.season, clock))))

    found: list[Any] = ask.once(("trial today", clock), work)
    return found


def _ledger(ask: Ask) -> dict[str, Any]:
    row = question("trial ledger")
    try:
        answer = row.ask(ask.season)
    except NoAnswerError as error:
        return {"pieces": [], "mind": [told(error)]}
    return {"pieces": pieces(row.tell(answer)), "mind": sentences(answer.about.warnings)}


def _number(text: str) -> float | None:
    if not text:
        return None
    try:
        return float(text.replace(",", ".").removesuffix("%"))
    except ValueError:
        raise QuestionError(f"{text!r} is no number.") from None
