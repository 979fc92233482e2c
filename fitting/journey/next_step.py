"""The one next step of a season, from an empty folder to an adopted recovery measure."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from typing import Any, Final, NamedTuple

from slackwater.fitting.answers.support import FEW_SESSIONS
from slackwater.fitting.records.trials import Trial

FIRST_FIT: Final = 14  # readings that a fit takes
FIRST_WEEKS: Final = 4  # of training, until the first fit that says something of it
WEEKS: Final = 8  # of training, until plans and trials have something to stand on
WEEKS_AT_MOST: Final = 12  # to wait for a type that is rarely done
REFIT_DAYS: Final = 28
AFTER_ADOPTING: Final = 14  # nights that `history --from` needs after a day
BEGINNING: Final = "  date,rmssd_ms\n  2031-01-06,57.6"


class Where(NamedTuple):
    """How far a season folder has come.

    Attributes:
        folder: as it is typed.
        asked: the question that was answered just now, such as "recovery".
        begun: whether there is a readings.csv.
        problems: how many problems stop the folder from being read.
        readings: nights read.
        sessions: sessions that a reading shows.
        weeks: whole weeks since the first of them.
        rare: a type done fewer than four times, the rarest; empty where there is none.
        plan_for: a type to plan for, the one done most often.
        attributes: whether the types have attributes.
        fitted: whether there is a posterior.
        answers: whether it may be answered from, as the season is now.
        fit_age: nights read since the last one fitted.
        plateau: whether rest has reached its plateau.
        plan_until: last day of the latest plan kept; empty where none was.
        plan_over: whether that day has passed.
        plan_fitted: whether the fit reaches beyond it.
        trial: the trial that is open, else the last one planned.
        due: whether it may be judged.
        since_judged: nights read since the last one that judged it.
    """

    folder: str
    asked: str = ""
    begun: bool = True
    problems: int = 0
    readings: int = 0
    sessions: int = 0
    weeks: int = 0
    rare: str = ""
    plan_for: str = ""
    attributes: bool = False
    fitted: bool = False
    answers: bool = False
    fit_age: int = 0
    plateau: bool = False
    plan_until: str = ""
    plan_over: bool = False
    plan_fitted: bool = False
    trial: Trial | None = None
    due: bool = False
    since_judged: int = 0

    @property
    def verdict(self) -> str:
        """The verdict of the last trial; empty where there is none."""
        return self.trial.analysed.verdict if self.trial and self.trial.analysed else ""

    def facts(self) -> dict[str, Any]:
        """Return what the sentences name."""
        trial = self.trial
        judged = trial.analysed.last_night if trial and trial.analysed else ""
        return {
            **self._asdict(),
            "more": FIRST_FIT - self.readings,
            "some": FEW_SESSIONS,
            "weeks_more": max(1, (WEEKS_AT_MOST if self.weeks >= WEEKS else WEEKS) - self.weeks),
            "wanted": shlex.quote(f"{self.plan_for}:2"),
            "measure": trial.plan.measure if trial else "",
            "verdict": self.verdict,
            "judged": judged,
        }


class NextStep(NamedTuple):
    """What to do next.

    Attributes:
        stage: a short name of it, for programs.
        sentence: what to do, in words.
        command: what to type for it.
    """

    stage: str
    sentence: str
    command: str


class _Rule(NamedTuple):
    stage: str
    holds: Callable[[Where], bool]
    sentence: str
    command: str


# The first rule that holds gives the step.
_RULES: Final = (
    _Rule(
        "begin",
        lambda at: not at.begun,
        "begin with a file readings.csv in a folder {folder}: a first line of headers, then "
        "one line a night under the date of its morning, such as\n" + BEGINNING + "\nand then",
        "check {folder}",
    ),
    _Rule("mend", lambda at: at.problems > 0, "mend what is named above, then", "check {folder}"),
    _Rule(
        "rest",
        lambda at: not at.fitted and at.readings < FIRST_FIT and not at.sessions,
        "rest completely and read every night; the first fit takes {more} more readings. Until "
        "then, each morning",
        "washout {folder}",
    ),
    _Rule(
        "read",
        lambda at: not at.fitted and at.readings < FIRST_FIT,
        "read every night; the first fit takes {more} more readings. Until then",
        "washout {folder}",
    ),
    _Rule("fit", lambda at: not at.fitted, "learn from the readings", "fit {folder}"),
    _Rule(
        "judge",
        lambda at: bool(at.trial and at.trial.open and at.due),
        "the planned number is reached, so judge the trial of {measure}",
        "trial analyse {folder}",
    ),
    _Rule(
        "trial",
        lambda at: bool(at.trial and at.trial.open),
        "the trial of {measure} is on: log each session, then ask whether to use it",
        "trial today {folder}",
    ),
    _Rule(
        "books",
        lambda at: at.asked == "trial analyse",
        "see it beside everything that was ever tried",
        "trial ledger {folder}",
    ),
    _Rule(
        "adopt",
        lambda at: at.verdict == "faster" and at.since_judged < AFTER_ADOPTING,
        "keep {measure}: use it on each day until recovered, and log it. Two weeks after {judged} "
        "or later, see what became of baseline",
        "history {folder} --from {judged}",
    ),
    _Rule(
        "fit again",
        lambda at: not at.answers,
        "learn what is new or changed since the last fit",
        "fit {folder}",
    ),
    _Rule(
        "rest on",
        lambda at: not at.sessions and not at.plateau,
        "rest and read on; rest has not reached its plateau yet. Each morning",
        "washout {folder}",
    ),
    _Rule(
        "train",
        lambda at: not at.sessions,
        f"rest has done its work. Train as usual, log each session in {{folder}}/sessions.csv "
        f"(date,type), leave one alone now and then, and after {FIRST_WEEKS} weeks or so",
        "fit {folder}",
    ),
    _Rule(
        "fit again",
        lambda at: at.fit_age >= REFIT_DAYS,
        "the fit is {fit_age} readings old, so learn from what came since",
        "fit {folder}",
    ),
    _Rule(
        "recovery",
        lambda at: at.asked in ("fit", "check") and not at.verdict and not at.plan_until,
        "see how many days each session type takes",
        "recovery {folder}",
    ),
    _Rule(
        "repeats",
        lambda at: at.asked == "recovery" and not at.plan_until,
        "see how far repeats agree, and what to do again",
        "repeats {folder}",
    ),
    _Rule(
        "elements",
        lambda at: at.asked == "repeats" and at.attributes and not at.plan_until,
        "see what the elements of training differ in",
        "elements {folder}",
    ),
    _Rule(
        "train on",
        lambda at: at.weeks < WEEKS,
        "train and log on for {weeks_more} more weeks, so that plans and trials have something to "
        "stand on, and then",
        "fit {folder}",
    ),
    _Rule(
        "train on",
        lambda at: bool(at.rare) and at.weeks < WEEKS_AT_MOST,
        "train and log on; {rare} was done fewer than {some} times. In {weeks_more} weeks or so",
        "fit {folder}",
    ),
    _Rule(
        "plan otherwise",
        lambda at: at.asked == "spacing" and not at.plan_until,
        "settle on a plan that fits, and keep it",
        "spacing {folder} --want TYPE:COUNT --days DAYS --keep",
    ),
    _Rule(
        "plan",
        lambda at: not at.plan_until,
        "plan two weeks in which each session begins recovered, such as",
        "spacing {folder} --want {wanted} --days 14 --keep",
    ),
    _Rule(
        "follow the plan",
        lambda at: not at.plan_over,
        "train by the plan and log what you do. When it is over, after {plan_until}",
        "fit {folder}",
    ),
    _Rule(
        "fit the plan's days",
        lambda at: not at.plan_fitted,
        "the plan is over, so learn from its days",
        "fit {folder}",
    ),
    _Rule(
        "check the plan",
        lambda at: at.trial is None and at.asked != "spacing check",
        "hold the plan against what was done",
        "spacing {folder} --check",
    ),
    _Rule(
        "plan a trial",
        lambda at: at.trial is None,
        "put one recovery measure on trial, by lot",
        "trial plan {folder} --measure NAME",
    ),
    _Rule(
        "look back",
        lambda at: at.verdict == "faster" and at.asked != "history",
        "{measure} was adopted; see what became of baseline since",
        "history {folder} --from {judged}",
    ),
    _Rule(
        "another trial",
        lambda at: at.verdict in ("", "faster"),
        "put the next measure on trial",
        "trial plan {folder} --measure NAME",
    ),
    _Rule(
        "another trial",
        lambda at: True,
        "the trial of {measure} ended {verdict}, so it is not adopted; put another measure "
        "on trial",
        "trial plan {folder} --measure NAME",
    ),
)


def next_step(at: Where) -> NextStep:
    """Return the one next step of a season.

    Args:
        at: how far its folder has come.
    """
    facts = at.facts()
    rule = next(rule for rule in _RULES if rule.holds(at))
    command = f"slackwater {rule.command.format(**facts)}"
    return NextStep(rule.stage, rule.sentence.format(**facts), command)
