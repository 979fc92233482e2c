"""The one next step of a season, from an empty folder to an adopted recovery measure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from slackwater.fitting.answers.support import FEW_SESSIONS
from slackwater.fitting.daily.logged import FIRST_FIT

if TYPE_CHECKING:
    from slackwater.fitting.records.trials import Trial

FIRST_WEEKS: Final = 4  # of training, until the first fit that says something of it
WEEKS: Final = 8  # of training, until plans and trials have something to stand on
WEEKS_AT_MOST: Final = 12  # to wait for a type that is rarely done
REFIT_DAYS: Final = 28
AFTER_ADOPTING: Final = 14  # nights that a look at a habit needs after its first day


class Where(NamedTuple):
    """How far a season has come.

    Attributes:
        asked: the question that was answered just now, such as "recovery".
        begun: whether there is a file of readings.
        problems: how many problems stop the season from being read.
        readings: nights read.
        sessions: sessions that a reading shows.
        weeks: whole weeks since the first of them.
        rare: a type done fewer than four times, the rarest; empty where there is none.
        plan_for: a type to plan for, the one done most often.
        attributes: whether the types have attributes.
        fitted: whether there is a posterior.
        answers: whether it may be answered from, as the season is now.
        fit_age: nights read since the last one fitted.
        fitted_until: that night; empty where nothing may be answered.
        plateau: whether rest has reached its plateau, asked where there was only rest.
        plan_until: last day of the latest plan kept; empty where none was.
        plan_over: whether that day has passed.
        plan_left: how many sessions of each type are still to come of it.
        plan_days: how many days they have.
        overtaken: whether what is to come of it no longer holds.
        unexplained: whether readings lie lower than before, and the log does not explain it.
        trial: the trial that is open, else the last one planned.
        due: whether it may be judged.
        since_judged: nights read since the last one that judged it.
    """

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
    fitted_until: str = ""
    plateau: bool = False
    plan_until: str = ""
    plan_over: bool = False
    plan_left: tuple[tuple[str, int], ...] = ()
    plan_days: int = 0
    overtaken: bool = False
    unexplained: bool = False
    trial: Trial | None = None
    verdict: str = ""
    due: bool = False
    since_judged: int = 0

    @property
    def plan_fitted(self) -> bool:
        """Whether the fit reaches beyond the latest plan."""
        return bool(self.fitted_until) and self.fitted_until > self.plan_until

    def facts(self) -> dict[str, Any]:
        """Return what the words for a step may name."""
        trial = self.trial
        judged = trial.analysed.last_night if trial and trial.analysed else ""
        return {
            "readings_more": FIRST_FIT - self.readings,
            "few": FEW_SESSIONS,
            "first_weeks": FIRST_WEEKS,
            "weeks_more": max(1, (WEEKS_AT_MOST if self.weeks >= WEEKS else WEEKS) - self.weeks),
            "rare": self.rare,
            "plan_for": self.plan_for,
            "plan_until": self.plan_until,
            "plan_left": self.plan_left,
            "plan_days": self.plan_days,
            "fit_age": self.fit_age,
            "measure": trial.plan.measure if trial else "",
            "verdict": self.verdict,
            "judged": str(judged),
        }


class NextStep(NamedTuple):
    """What to do next.

    Attributes:
        stage: a short name of it; the words for it are chosen where it is shown.
        facts: what they may name.
    """

    stage: str
    facts: Mapping[str, Any]


# The first rule that holds gives the step.
RULES: Final[tuple[tuple[str, Callable[[Where], bool]], ...]] = (
    ("begin", lambda at: not at.begun),
    ("mend", lambda at: at.problems > 0),
    ("rest", lambda at: not at.fitted and at.readings < FIRST_FIT and not at.sessions),
    ("read", lambda at: not at.fitted and at.readings < FIRST_FIT),
    ("fit", lambda at: not at.fitted),
    ("judge", lambda at: bool(at.trial and at.trial.open and at.due)),
    ("trial", lambda at: bool(at.trial and at.trial.open)),
    ("books", lambda at: at.asked == "trial analyse"),
    ("adopt", lambda at: at.verdict == "faster" and at.since_judged < AFTER_ADOPTING),
    ("fit what is new", lambda at: not at.answers),
    ("find out", lambda at: at.unexplained),
    ("plan anew", lambda at: at.overtaken),
    ("rest on", lambda at: not at.sessions and not at.plateau),
    ("train", lambda at: not at.sessions),
    ("fit again", lambda at: at.fit_age >= REFIT_DAYS),
    (
        "recovery",
        lambda at: at.asked in ("fit", "check") and not at.verdict and not at.plan_until,
    ),
    ("repeats", lambda at: at.asked == "recovery" and not at.plan_until),
    ("elements", lambda at: at.asked == "repeats" and at.attributes and not at.plan_until),
    ("train on", lambda at: at.weeks < WEEKS),
    ("train what is rare", lambda at: bool(at.rare) and at.weeks < WEEKS_AT_MOST),
    ("plan otherwise", lambda at: at.asked == "spacing" and not at.plan_until),
    ("plan", lambda at: not at.plan_until),
    ("follow the plan", lambda at: not at.plan_over),
    ("fit the plan's days", lambda at: not at.plan_fitted),
    ("check the plan", lambda at: at.trial is None and at.asked != "spacing check"),
    ("plan a trial", lambda at: at.trial is None),
    ("look back", lambda at: at.verdict == "faster" and at.asked != "history"),
    ("another trial", lambda at: at.verdict in ("", "faster")),
    ("another measure", lambda at: True),
)


def next_step(at: Where) -> NextStep:
    """Return the one next step of a season.

    Args:
        at: how far it has come.
    """
    return NextStep(next(stage for stage, holds in RULES if holds(at)), at.facts())
