"""The plan: a wish becomes a dated plan, a record, a calendar file; and planned against done."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.questions import question
from slackwater.fitting.report import today as words_of
from slackwater.fitting.report import words
from slackwater.fitting.report.page.part import Part
from slackwater.fitting.report.pieces import pieces
from slackwater.fitting.report.reasons import sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, File, Shown, sent_again
from slackwater.fitting.serving.views.morning import this_morning
from slackwater.fitting.spacing.plan import SpacingPlan, plan_to_keep
from slackwater.fitting.spacing.wish import MOST_SESSIONS, Date
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.back import FOUR_IN_FIVE, HIGHEST_CHANCE
from slackwater.model.errors import NoAnswerError, QuestionError, SlackwaterError
from slackwater.model.names import WEEKDAYS

_USUAL_DAYS: Final = 14
_USUAL_CHANCE: Final = round(100 * FOUR_IN_FIVE)  # percent
_FIXED: Final = 3  # rows for sessions on given days
_CALENDAR: Final = "text/calendar; charset=utf-8"


def show(ask: Ask) -> Answered:
    """Show the plan that is kept, what became of it, and room for a wish."""
    season = ask.season
    now = season.now  # a plan needs a fit, which is said where there is none
    facts = {
        "types": list(now.types),
        "start": str(now.night),
        "days": _USUAL_DAYS,
        "farthest": FARTHEST,
        "most": MOST_SESSIONS,
        "fixed_rows": range(_FIXED),
        "weekdays": WEEKDAYS,
        "chance": _USUAL_CHANCE,
        "kept": ask.once("kept plan", lambda: _kept(season)),
        "today": _of_today(ask),
    }
    return Shown("plan", "The plan", facts)


def make(ask: Ask) -> Answered:
    """Make the plan that is wanted; show it, keep it, or hand out its calendar file."""
    row = question("spacing")
    plan: SpacingPlan = row.ask(ask.season, _wanted(ask), **_options(ask))
    doing = ask.one("do")
    if doing == "calendar" and plan.fits:
        from slackwater.fitting.report.calendar_file import as_calendar

        made = dt.datetime.now(dt.UTC)
        return File(f"plan-{plan.start}.ics", _CALENDAR, as_calendar(plan, made))
    if doing == "keep" and plan.fits:
        ask.season.keep(plan_to_keep(plan))
        last = plan.sessions[-1].date
        return Elsewhere(ask.to("plan"), [f"Kept the plan up to {last}, to be held against later."])
    facts = {
        "fits": plan.fits,
        "calendar": [
            (words.short_day(str(d.date)), d.session or d.kind, words.chance(d.chance_recovered))
            for d in plan.calendar
        ],
        "told_pieces": pieces(row.tell(plan)),
        "mind": sentences(plan.about.warnings),
        "kept": sent_again(ask.form, but=("do",)),
    }
    return Shown("planned", "The plan that is wanted", facts)


def _of_today(ask: Ask) -> list[str]:
    try:
        return words_of.plan(this_morning(ask))
    except SlackwaterError:
        return []


def _kept(season: SeasonFolder) -> dict[str, Any]:
    """Return the plans kept as a part, with what became of each session; or why there is none."""
    from slackwater.fitting.report.page.parts_season import plan as part_of

    row = question("spacing check")
    try:
        answer = row.ask(season)
        part: Part | None = part_of(answer)
        return {"part": part, "told": pieces(row.tell(answer)), "why": ""}
    except NoAnswerError as error:
        return {"part": None, "told": [], "why": told(error)}


def _wanted(ask: Ask) -> dict[str, int]:
    counts = {t: ask.whole(f"count-{t}", 0, most=MOST_SESSIONS) for t in ask.season.now.types}
    return {label: count for label, count in counts.items() if count}


def _options(ask: Ask) -> dict[str, Any]:
    fixed: dict[Date, str] = {}
    for row in range(_FIXED):
        label = ask.one(f"fixed-type-{row}")
        if label:
            if not ask.one(f"fixed-{row}"):
                raise QuestionError(f"Give the day on which {label!r} is fixed.")
            fixed[ask.one(f"fixed-{row}")] = label
    types = [label for label in ask.season.now.types if ask.one(f"chance-{label}")]
    return {
        "days": ask.whole("days", _USUAL_DAYS, least=1, most=FARTHEST),
        "start": ask.one("start") or None,
        "fixed": fixed,
        "rest": ask.form.get("rest", []),
        "chance": _share(ask.one("chance") or str(_USUAL_CHANCE)),
        "chance_for": {label: _share(ask.one(f"chance-{label}")) for label in types},
    }


def _share(text: str) -> float:
    try:
        return float(text.removesuffix("%").strip()) / 100
    except ValueError:
        most = 100 * HIGHEST_CHANCE
        raise QuestionError(f"{text!r} is no chance in percent, from 1 to {most:.0f}.") from None
