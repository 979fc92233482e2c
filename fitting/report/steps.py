"""The sentences for next steps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.journey.next_step import NextStep

_BEGINNING: Final = "  date,rmssd_ms\n  2031-01-06,57.6"

SENTENCES: Final[Mapping[str, str]] = {
    "begin": "begin with a file readings.csv in the season's folder: a first line of headers, "
    f"then one line a night under the date of its morning, such as\n{_BEGINNING}\nand then",
    "mend": "mend what is named above, then",
    "rest": "rest completely and read every night; the first fit takes {readings_more} more "
    "readings. Until then, each morning",
    "read": "read every night; the first fit takes {readings_more} more readings. Until then",
    "fit": "learn from the readings",
    "judge": "the planned number is reached, so judge the trial of {measure}",
    "trial": "the trial of {measure} is on: log each session, then ask whether to use it",
    "books": "see it beside everything that was ever tried",
    "adopt": "keep {measure}: use it on each day until recovered, and log it. Two weeks after "
    "{judged} or later, see what became of baseline",
    "fit what is new": "learn what is new or changed since the last fit",
    "find out": "find out what holds the readings down, and log it or let it pass; do nothing "
    "hard until then. Each morning",
    "rest on": "rest and read on; rest has not reached its plateau yet. Each morning",
    "train": "rest has done its work. Train as usual, log each session in sessions.csv "
    "(date,type), leave one alone now and then, and after {first_weeks} weeks or so",
    "fit again": "the fit is {fit_age} readings old, so learn from what came since",
    "recovery": "see how many days each session type takes",
    "repeats": "see how far repeats agree, and what to do again",
    "elements": "see what the elements of training differ in",
    "train on": "train and log on for {weeks_more} more weeks, so that plans and trials have "
    "something to stand on, and then",
    "train what is rare": "train and log on; {rare} was done fewer than {few} times. In "
    "{weeks_more} weeks or so",
    "plan otherwise": "settle on a plan that fits, and keep it",
    "plan": "plan two weeks in which each session begins recovered, such as",
    "follow the plan": "train by the plan and log what you do. When it is over, after {plan_until}",
    "plan anew": "the plan no longer holds, so make a new one for what is left of it",
    "fit the plan's days": "the plan is over, so learn from its days",
    "check the plan": "hold the plan against what was done",
    "plan a trial": "put one recovery measure on trial, by lot",
    "look back": "{measure} was adopted; see what became of baseline since",
    "another trial": "put the next measure on trial",
    "another measure": "the trial of {measure} ended {verdict}, so it is not adopted; put another "
    "measure on trial",
}


def sentence(step: NextStep) -> str:
    """Return a step in words, without the colon that what to do follows on."""
    return SENTENCES[step.stage].format(**step.facts)
