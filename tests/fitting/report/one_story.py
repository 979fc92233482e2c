"""What every screen says of the same things, side by side."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property, partial
from pathlib import Path
from typing import Any, Final
from unittest.mock import patch

import numpy as np

from slackwater.fitting import SeasonFolder
from slackwater.fitting.commands.shared import step_object
from slackwater.fitting.journey.where import next_of, overtaken_plan
from slackwater.fitting.questions import question
from slackwater.fitting.report import words
from slackwater.fitting.report.asked import Asked
from slackwater.fitting.report.page import sections
from slackwater.fitting.report.page.part import Part
from slackwater.fitting.report.season_check import check_as_text
from slackwater.fitting.spacing.plan import plan_spacing, plan_to_keep
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.report.conftest import TYPES
from tests.fitting.report.terminal.printing import printed
from tests.fitting.trials import by_hand as trials

Rows = Mapping[str, Mapping[str, str]]  # thing -> screen -> what it says

PLAN: Final = {"hill run": 1, "steady row": 2}
DAY_NAMED: Final = r"(\w+day \d+ \w+)"
CHANCE: Final = r"((?:under |over )?\d+ %)"
ASKED: Final = (
    "today",
    "baseline",
    "forecast",
    "washout",
    "recovery",
    "explain",
    "trial ledger",
    "course",
    "spacing check",
)


class Story:
    """All that is said of one season."""

    def __init__(self, folder: Path) -> None:
        """Take a season folder."""
        self.season = SeasonFolder(folder)
        self.asked = Asked()
        self._pages: dict[Any, str] = {}
        for name in ASKED:
            self.asked.ask(name, partial(question(name).ask, self.season))
        compare = question("compare intervention")
        for name in self.season.now.interventions:
            self.asked.ask(f"{compare.name} {name}", partial(compare.ask, self.season, name))

    def screen(self, name: str) -> str:
        """Return what the terminal shows, on one line."""
        kind = "compare intervention" if name.startswith("compare") else name
        if name not in self.asked.answers:
            return ""
        return " ".join(printed(kind, self.asked.answers[name]).split())

    def page(self, section: Callable[[Asked], tuple[Part, ...]]) -> str:
        """Return the words of a section of the report."""
        if section in self._pages:
            return self._pages[section]
        said = []
        with patch("slackwater.fitting.report.page.canvas._as_svg", lambda *_: ""):  # undrawn
            parts = section(self.asked)
        for part in parts:
            cells = [" ".join(row) for row in part.table.rows] if part.table else []
            said += [*part.sentences, *cells, part.picture_text]
        self._pages[section] = " ".join(" ".join(said).split())
        return self._pages[section]

    @cached_property
    def today_on_page(self) -> str:
        """The report's first section."""
        return self.page(sections.today)

    def plans(self) -> dict[str, Any]:
        """Return a plan of one session of each type; none where that is refused."""
        row = question("spacing")
        found = {}
        for label in self.season.now.types:
            try:
                found[label] = row.ask(self.season, {label: 1}, 28)
            except NoAnswerError:
                return {}
        return found


def found(pattern: str, said: str) -> str:
    """Return what a pattern finds first; "" for nothing."""
    match = re.search(pattern, said)
    return next((g for g in match.groups() if g), "") if match else ""


def rows(story: Story) -> Rows:
    """Return what each screen says of each thing; things that no screen speaks of are left out."""
    told = dict(_rows(story))
    kept = {what: {s: v for s, v in said.items() if v} for what, said in told.items()}
    return {what: said for what, said in kept.items() if said}


def _rows(story: Story) -> Iterator[tuple[str, dict[str, str]]]:
    screen, page = story.screen, story.page
    plans = story.plans()
    days = [plan.calendar for plan in plans.values()]
    first = {f"spacing, {t}": words.day_name(str(p.sessions[0].date)) for t, p in plans.items()}
    yield (
        "chance of baseline this morning",
        {
            "today": found(rf"the chance is {CHANCE}", screen("today")),
            "baseline": found(rf"the chance is {CHANCE}", screen("baseline")),
            "washout": found(rf"\(now {CHANCE}\)|at baseline is {CHANCE}\.", screen("washout")),
            "spacing": words.chance(days[0][0].chance_recovered) if days else "",
            "report": found(rf"the chance is {CHANCE}", story.today_on_page),
        },
    )
    again = rf"or more from {DAY_NAMED} on|recovered again from {DAY_NAMED} on"
    offered = story.asked.answers["today"].types[0].from_
    yield (
        "first morning with four in five",
        {
            "today": found(again, screen("today")),
            "today, table": words.day_name(str(offered)) if offered else "",
            "baseline": found(rf"Back at baseline from {DAY_NAMED} on", screen("baseline")),
            "forecast": found(rf"Back at baseline from {DAY_NAMED} on", screen("forecast")),
            "washout": found(rf"rest, until {DAY_NAMED}:", screen("washout")),
            **first,
            "report": found(again, story.today_on_page),
            "report, coming": found(rf"from {DAY_NAMED} on", page(sections.tomorrow)),
        },
    )
    tomorrow = story.season.now.night + DAY
    named = words.day_name(str(tomorrow))
    yield (
        "chance of baseline tomorrow",
        {
            "forecast": found(rf"{tomorrow} .*?\) {CHANCE}", screen("forecast")),
            "washout": found(rf"{tomorrow} .*?\) {CHANCE}", screen("washout")),
            "spacing": words.chance(days[0][1].chance_recovered) if days else "",
            "report": found(rf"{named} \d+ ms \(.*?\) {CHANCE}", page(sections.tomorrow)),
        },
    )
    yield (
        "baseline",
        {
            "today": found(r"baseline of (\d+ ms)", screen("today")),
            "baseline": found(r"baseline (\d+ ms) \(", screen("baseline")),
            "explain": found(r"baseline of (\d+ ms) \(", screen("explain")),
            "report": found(r"baseline of (\d+ ms)", story.today_on_page),
            "report, picture": found(r"and baseline (\d+ ms) \(", story.today_on_page),
            "report, why": found(r"baseline of (\d+ ms) \(", page(sections.explain)),
        },
    )
    yield (
        "range of baseline",
        {
            "baseline": found(r"baseline \d+ ms \((.*?)\)", screen("baseline")),
            "explain": found(r"baseline of \d+ ms \((.*?)\)", screen("explain")),
            "report, picture": found(r"and baseline \d+ ms \((.*?)\)", story.today_on_page),
        },
    )
    yield (
        "state under baseline",
        {
            "today": found(r"state is (\d+ %) under", screen("today")),
            "baseline": found(r"state under it (\d+ %)", screen("baseline")),
            "spacing": _percent(days[0][0].dip_left_ln.median) if days else "",
            "report": found(r"state is (\d+ %) under", story.today_on_page),
        },
    )
    yield (
        "reading",
        {
            "today": found(r"The reading, (\d+ ms)", screen("today")),
            "explain": found(r"This morning's (\d+ ms)", screen("explain")),
            "report": found(r"The reading, (\d+ ms)", story.today_on_page),
            "report, why": found(r"This morning's (\d+ ms)", page(sections.explain)),
        },
    )
    yield (
        "reading against baseline",
        {
            "today": found(r"reading, \d+ ms, is (.*?) your baseline", screen("today")),
            "explain": found(r"This morning's \d+ ms is (.*?) your baseline", screen("explain")),
            "report": found(r"reading, \d+ ms, is (.*?) your baseline", story.today_on_page),
        },
    )
    yield (
        "drop that is unexplained",
        {
            name: found(r"at a level (about .*? lower)", said)
            for name, said in (
                ("today", screen("today")),
                ("baseline", screen("baseline")),
                ("forecast", screen("forecast")),
                ("report", story.today_on_page),
            )
        },
    )
    for label in story.season.now.types:
        yield (
            f"days to plan with, {label}",
            {
                "recovery": found(rf"{label}: (\d+) day", screen("recovery")),
                "recovery, table": found(rf"{label} \d+ .*? day (\d+) ", screen("recovery")),
                "report": found(rf"{label}: plan with (\d+) day", page(sections.recovery)),
                "report, table": found(rf"{label} \d+ .*? day (\d+) ", page(sections.recovery)),
            },
        )
    for measure in story.season.now.interventions:
        name = f"compare intervention {measure}"
        alone = rf"{measure} \S+ ?\S* ([\d.]+ \([\d.]+–[\d.]+\))"
        yield (
            f"recovery rate, {measure}",
            {
                "compare": found(r"without ([\d.]+) times", screen(name)),
                "ledger": found(alone, screen("trial ledger")).partition(" ")[0],
            },
        )
    yield "the plan to come", _plan(story)
    yield (
        "the trial's word",
        {
            "today": found(r"Trial of .*?: (use it|leave it out) today", screen("today")),
            "trial today": _trial(story),
            "report": found(r"Trial of .*?: (use it|leave it out) today", story.today_on_page),
        },
    )


def _percent(dip: float) -> str:
    return f"{words.percent_off(dip):.0f} %"


def _plan(story: Story) -> dict[str, str]:
    """Return whether each screen says that the plan no longer holds, where there is one."""
    if not story.season.plans:
        return {}
    season, found_so = story.season, story.season.checked
    check = check_as_text(found_so, season.doubts, season.departures, overtaken_plan(season))
    step = step_object(next_of(season, "today"), season)["sentence"]
    said = {
        "today": story.screen("today"),
        "check": check,
        "spacing --check": story.screen("spacing check"),
        "report": story.today_on_page,
        "report, plan": story.page(sections.plan),
    }
    if "plan" in step:
        said["next step"] = "" if "train by the plan" in step else step
    return {
        s: "no longer holds" if "no longer holds" in text else "holds" for s, text in said.items()
    }


def _trial(story: Story) -> str:
    try:
        answer = question("trial today").ask(story.season)
    except NoAnswerError:
        return ""
    said = " ".join(printed("trial today", answer).split())
    return {"Use": "use it", "Leave": "leave it out"}.get(found(r"(Use|Leave) ", said), "")


def four_seasons(fitted: Path, at: Path) -> dict[str, Path]:
    """Return four seasons made from the demo season and its fit, by what they are.

    Args:
        fitted: the demo season's folder, fitted.
        at: a folder to make them in.
    """
    made = {
        what: Path(shutil.copytree(fitted, at / str(number)))
        for number, what in enumerate(("demo", "silent drop", "unplanned hill run", "trial"))
    }
    for folder in made.values():
        season = SeasonFolder(folder)
        season.keep(plan_to_keep(plan_spacing(season, PLAN, 14)))
    _append(
        made["silent drop"],
        "readings",
        *(f"2031-07-{day:02},50.0,chest strap" for day in range(7, 14)),
    )
    _append(made["unplanned hill run"], "sessions", "2031-07-06,hill run,1.0")
    _append(made["unplanned hill run"], "readings", "2031-07-07,50.5,chest strap")
    start = round((np.datetime64("2031-03-03") - by_hand.FIRST) / DAY)
    SeasonFolder(made["trial"]).record(
        trials.plan(start, per_arm=20, measure="beet juice", types=TYPES)
    )
    return made


def _append(folder: Path, file: str, *lines: str) -> None:
    with (folder / f"{file}.csv").open("a", encoding="utf-8") as written:
        written.writelines(f"{line}\n" for line in lines)
