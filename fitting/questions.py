"""The questions that can be asked, one row each: how to ask and how to tell the answer.

From this table come the command line's questions, what the report asks, and the names of
`slackwater.fitting`. What a row names is loaded when it is first used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from slackwater.fitting.report.asked import Asked
    from slackwater.fitting.state.athlete import Athlete
    from slackwater.fitting.state.standing import Standing

_HOME: Final = "slackwater.fitting"


class Kind(Enum):
    """What a parameter of a question is."""

    WHOLE = "a whole number"
    DATE = "a date"
    TYPE = "a session type"
    MEASURE = "a recovery measure"
    CHANCE = "a chance"
    MORNING = "a morning; where it is left out, the one of the day that it is"
    COLUMN = "a column of types.csv"
    VALUES = "a column of types.csv and two of its values"
    TYPES = "two session types"
    PLANNED = "a date and a session type, any number of them"


@dataclass(frozen=True)
class Parameter:
    """One thing that a question can be asked with.

    Attributes:
        name: of the asked function's argument; for `TYPES` and `VALUES`, its first ones.
        kind: what it is.
        help: what it means, a sentence.
        spelled: what people call it, where not by its name.
        default: what is taken where it is left out.
        needed: whether it may not be left out.
    """

    name: str
    kind: Kind
    help: str
    spelled: str = ""
    default: Any = None
    needed: bool = False

    @property
    def called(self) -> str:
        """What people call it."""
        return self.spelled or self.name


InReport = Callable[["Standing"], Iterable[tuple[str, dict[str, Any]]]]


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes:
        name: as answers, reports and programs name it.
        asked: where the function is that answers it, "room.module:function".
        told: where its text for a terminal is made, in the same form.
        word: what people say to ask it; empty where it is asked by more than a question, or as
            a part of the report alone. Questions of one word stand together.
        tells: what it tells, a sentence.
        short: the same for a list of questions; `tells` where that is short enough.
        more: what else there is to know before asking.
        parameters: what it can be asked with.
        examples: two or three ways to ask it, by parameter.
        in_report: how the report asks it, from where the athlete stands: what each time is
            about (empty, or what the question's name is followed by) and what it is asked with.
        label: the short name of the report's section that shows it, where it opens one.
        shown: where the parts of that section are made, in the same form as `told`.
    """

    name: str
    asked: str
    told: str
    word: str = ""
    tells: str = ""
    short: str = ""
    more: str = ""
    parameters: tuple[Parameter, ...] = ()
    examples: tuple[dict[str, Any], ...] = ({},)
    in_report: InReport | None = None
    label: str = ""
    shown: str = ""

    def ask(self, *given: Any, **options: Any) -> Any:
        """Return the answer."""
        return load(self.asked)(*given, **options)

    def tell(self, answer: Any) -> Any:
        """Return the answer's text for a terminal, piece by piece."""
        return load(self.told)(answer)


def load(place: str) -> Callable[..., Any]:
    """Return what "room.module:name" names."""
    module, _, name = place.partition(":")
    found: Callable[..., Any] = getattr(import_module(f"{_HOME}.{module}"), name)
    return found


_NIGHTS_AHEAD: Final = 10  # that the report looks


def _once(_now: Standing) -> Iterable[tuple[str, dict[str, Any]]]:
    return [("", {})]


def _at_rest_and_after_each_type(now: Standing) -> Iterable[tuple[str, dict[str, Any]]]:
    from slackwater.fitting.answers.forecast import PlannedSession

    yield "", {"nights": _NIGHTS_AHEAD}
    for label in now.types:
        planned = [PlannedSession(now.night, label)]
        yield f" with {label}", {"nights": _NIGHTS_AHEAD, "planned": planned}


def _each_measure(now: Standing) -> Iterable[tuple[str, dict[str, Any]]]:
    return [(f" {name}", {"name": name}) for name in now.interventions]


QUESTIONS: Final = (
    Question(
        "today",
        "journey.today:today",
        "report.today:text",
        "today",
        tells="Tell what this morning's reading means, and from when which training may come "
        "again.",
        short="Tell what this morning means, and from when to train again.",
        more="The first morning counts on which the chance to be recovered is reached, as in a "
        "plan. What a plan and a trial say of the day is told with it.",
        parameters=(
            Parameter(
                "chance", Kind.CHANCE, "The chance to be recovered that is asked for.", default=0.8
            ),
            Parameter(
                "morning", Kind.MORNING,
                "The morning asked about; today's, or the last reading's where that lies over 60 "
                "days back.",
                spelled="date",
            ),
        ),
        examples=({}, {"chance": 0.9}, {"json": True}),
        in_report=_once,
        label="Today",
        shown="report.page.sections:today",
    ),
    Question("spacing check", "spacing.check:check_spacing", "report.terminal.spacing:check",
        in_report=_once,
        label="Plan",
        shown="report.page.sections:plan",
    ),
    Question(
        "baseline",
        "answers.baseline:baseline",
        "report.terminal.standing:baseline",
        "baseline",
        tells="Tell where baseline lies, how much dip is left, and whether rest has done its work.",
        short="Tell where baseline lies, and whether rest has done its work.",
        examples=({}, {"json": True}),
        in_report=_once,
    ),
    Question(
        "forecast",
        "answers.forecast:forecast",
        "report.terminal.standing:forecast",
        "forecast",
        tells="Tell the coming readings, and the days until back at baseline.",
        parameters=(
            Parameter("nights", Kind.WHOLE, "How many nights ahead.", default=1),
            Parameter(
                "planned", Kind.PLANNED,
                "A planned session; give it again for more. Rest if left out.",
                spelled="session",
            ),
        ),
        examples=({}, {"nights": 7, "planned": "2031-05-02:hill run"}),
        in_report=_at_rest_and_after_each_type,
        label="Next reading",
        shown="report.page.sections:tomorrow",
    ),
    Question(
        "recovery",
        "answers.recovery:recovery",
        "report.terminal.recovery:text",
        "recovery",
        tells="Tell the days to recover, for each session type and its next session.",
        short="Tell the days to recover, for each session type.",
        examples=({}, {"level": 0.95}, {"json": True}),
        in_report=_once,
        label="Days to recover",
        shown="report.page.sections:recovery",
    ),
    Question(
        "explain",
        "answers.explain:explain",
        "report.terminal.explain:text",
        "explain",
        tells="Tell what a reading is made of: baseline, each session's dip left, noise.",
        short="Tell what a reading is made of.",
        parameters=(
            Parameter("night", Kind.DATE, "The date of its morning; that of the last reading."),
        ),
        examples=({}, {"night": "2031-05-02"}),
        in_report=_once,
        label="Why",
        shown="report.page.sections:explain",
    ),
    Question(
        "elements",
        "answers.elements:elements",
        "report.terminal.elements:text",
        "elements",
        tells="Compare every value of the types' attributes with every other.",
        parameters=(Parameter("attribute", Kind.COLUMN, "This column of types.csv alone."),),
        examples=({}, {"attribute": "effort"}),
        in_report=_once,
        label="Types",
        shown="report.page.sections:elements",
    ),
    Question(
        "compare intervention",
        "measures.compare:compare_intervention",
        "report.terminal.compare:measure",
        "compare",
        tells="Compare recovery with and without a measure, or two types or attribute values.",
        short="Compare recovery with and without a measure, or of two types.",
        parameters=(
            Parameter(
                "name", Kind.MEASURE, "Recovery with NAME over without it.",
                spelled="intervention", needed=True,
            ),
        ),
        examples=({"name": "river dip"},),
        in_report=_each_measure,
        label="Measures and trials",
        shown="report.page.sections:measures",
    ),
    Question(
        "compare types",
        "answers.compare:compare_types",
        "report.terminal.compare:difference",
        "compare",
        parameters=(Parameter("types", Kind.TYPES, "Two session types.", needed=True),),
        examples=({"types": ("hill run", "steady row")},),
    ),
    Question(
        "compare attribute",
        "answers.compare:compare_attribute",
        "report.terminal.compare:difference",
        "compare",
        parameters=(
            Parameter("attribute", Kind.VALUES, "Two values in types.csv.", needed=True),
        ),
        examples=({"attribute": ("mode", "lift", "row")},),
    ),
    Question(
        "trial ledger", "trials.ledger:trial_ledger", "report.terminal.trial_results:ledger",
        in_report=_once,
    ),
    Question(
        "history",
        "answers.history:history",
        "report.terminal.history:text",
        "history",
        tells="Tell baseline by quarter, sensor steps, and whether recovery changed.",
        short="Tell baseline over the years, and whether recovery changed.",
        more="With a day, compare baseline since then with the same length before.",
        parameters=(
            Parameter(
                "since", Kind.DATE, "The day from which a habit was kept.", spelled="from"
            ),
        ),
        examples=({}, {"since": "2031-05-02"}),
        in_report=_once,
        label="Season",
        shown="report.page.sections:history",
    ),
    Question("worth", "answers.worth:worth", "report.terminal.worth:text",
        in_report=_once,
        label="Worth of the fit",
        shown="report.page.sections:worth",
    ),
    Question(
        "residuals",
        "describing.residuals:residuals",
        "report.terminal.worth:residuals",
        "residuals",
        tells="Tell whether the model describes this season, and what it means where it does not.",
        short="Tell whether the model describes this season.",
        more="A residual is a reading against what the model foretold for it. They are looked at "
        "by weekday, by nights since a session and its type, from one night to the next, and "
        "against the dose.",
        examples=({}, {"json": True}),
        in_report=_once,
        label="Residuals",
        shown="report.page.sections:residuals",
    ),
    Question("course", "answers.course:course", "report.terminal.course:text",
        in_report=_once,
    ),
    Question(
        "washout",
        "answers.washout:washout",
        "report.terminal.washout:text",
        "washout",
        tells="Tell how much more rest leads to baseline, how rest has gone, and what would spoil "
        "it.",
        short="Tell the days of rest to baseline, and how rest has gone.",
        more="Works before the first fit too, from general experience.",
        parameters=(
            Parameter("days", Kind.WHOLE, "How many coming days of rest to show.", default=7),
            Parameter(
                "chance", Kind.CHANCE, "The chance of baseline that is waited for.", default=0.8
            ),
        ),
        examples=({}, {"days": 14}),
    ),
    Question(
        "repeats",
        "repeating.repeats:repeats",
        "report.terminal.repeats:text",
        "repeats",
        tells="Tell each session's own recovery, and how many more would settle its type's.",
        short="Tell how far repeats agree, and how many more are needed.",
        parameters=(
            Parameter("session_type", Kind.TYPE, "This session type alone.", spelled="type"),
        ),
        examples=({}, {"session_type": "hill run"}),
    ),
    Question("squad fit", "squads.learn:squad_fit", "report.squads.fitted:text"),
    Question("squad recovery", "squads.recovery:squad_recovery", "report.squads.recovery:text"),
    Question("squad compare", "squads.compare:squad_compare", "report.squads.compare:text"),
    Question("squad today", "squads.today:squad_today", "report.squads.today:text"),
    Question("beats", "beats.merge:read_beats", "report.beats.text:text"),
    Question("spacing", "spacing.plan:plan_spacing", "report.terminal.spacing:plan"),
    Question("trial plan", "trials.plan:plan_trial", "report.terminal.trial:plan"),
    Question("trial today", "trials.today:trial_today", "report.terminal.trial:today"),
    Question(
        "trial analyse", "trials.analyse:analyse_trial", "report.terminal.trial_results:analysed"
    ),
    Question(
        "trial report items", "trials.items:report_items", "report.terminal.trial_results:items"
    ),
)  # fmt: skip


def question(name: str) -> Question:
    """Return the question of a name."""
    return next(row for row in QUESTIONS if row.name == name)


def words() -> list[str]:
    """Return the words that ask questions, in the table's order."""
    return list(dict.fromkeys(row.word for row in QUESTIONS if row.word))


def asked_by(word: str) -> list[Question]:
    """Return the questions that a word asks, one of which an option chooses."""
    return [row for row in QUESTIONS if row.word == word]


def ask_for_report(athlete: Athlete, level: float) -> Asked:
    """Ask all that the report shows.

    Args:
        athlete: the season, what was learnt of it, its trials and its plans.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: nothing at all can be answered from this posterior.
    """
    from slackwater.fitting.answers.intervals import check_level
    from slackwater.fitting.report.asked import Asked

    check_level(level)
    now, asked = athlete.now, Asked()
    for row in QUESTIONS:
        for about, given in row.in_report(now) if row.in_report else ():
            asked.ask(row.name + about, partial(row.ask, athlete, level=level, **given))
    return asked


def report_layout() -> list[tuple[str, Callable[..., Any]]]:
    """Return the report's sections by their labels, each with what makes its parts."""
    return [(row.label, load(row.shown)) for row in QUESTIONS if row.shown]
