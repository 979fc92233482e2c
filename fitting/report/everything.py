"""Every answer that the report is made from, and the words where one is refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import xarray as xr

from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.compare import compare_intervention
from slackwater.fitting.answers.course import course
from slackwater.fitting.answers.elements import elements
from slackwater.fitting.answers.explain import explain
from slackwater.fitting.answers.forecast import forecast, planned_session
from slackwater.fitting.answers.history import history
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level
from slackwater.fitting.answers.recovery import recovery
from slackwater.fitting.answers.worth import worth
from slackwater.fitting.records.plans import KeptPlan
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.spacing.check import check_spacing
from slackwater.fitting.state.standing import Standing, standing
from slackwater.fitting.trials.ledger import trial_ledger
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season

NIGHTS_AHEAD: Final = 10
WITH: Final = "forecast with "
COMPARED: Final = "compare intervention "


@dataclass(frozen=True)
class Everything:
    """Answers by the question that each answers; a question is in one of the two.

    Attributes:
        answers: the answers. Questions asked more than once end in what is asked about:
            "forecast with hill run", "compare intervention river dip".
        refused: why a question was refused, in words.
    """

    answers: dict[str, xr.Dataset] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)

    def ask(self, question: str, how: Callable[[], xr.Dataset]) -> None:
        """Keep the answer to a question, or why there is none."""
        try:
            self.answers[question] = how()
        except NoAnswerError as error:
            self.refused[question] = str(error)

    def about(self, prefix: str) -> dict[str, xr.Dataset]:
        """Return the answers to a question asked more than once, by what is asked about."""
        return {q.removeprefix(prefix): a for q, a in self.answers.items() if q.startswith(prefix)}


def ask_everything(
    season: Season,
    posterior: Posterior,
    trials: Sequence[Trial] = (),
    plans: Sequence[KeptPlan] = (),
    level: float = DEFAULT_LEVEL,
) -> Everything:
    """Answer all that the report shows.

    Args:
        season: the season as it is now.
        posterior: its posterior.
        trials: the trials recorded.
        plans: the plans kept.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: nothing at all can be answered from this posterior.
    """
    check_level(level)
    now = standing(season, posterior)
    asked = Everything()
    asked.ask("baseline", lambda: baseline(now, level))
    asked.ask("course", lambda: course(season, posterior, level))
    asked.ask("forecast", lambda: forecast(now, NIGHTS_AHEAD, level=level))
    for label in _known(now, n.TYPE):
        today = [planned_session(now, now.night, label)]
        asked.ask(WITH + label, partial(forecast, now, NIGHTS_AHEAD, today, level))
    asked.ask("recovery", lambda: recovery(now, level))
    asked.ask("explain", lambda: explain(now, posterior, level=level))
    asked.ask("elements", lambda: elements(now, level=level))
    for name in _known(now, n.INTERVENTION):
        asked.ask(COMPARED + name, partial(compare_intervention, now, name, level, trials))
    asked.ask("trial ledger", lambda: trial_ledger(now, trials, level))
    asked.ask("spacing check", lambda: check_spacing(now, posterior, list(plans), level))
    asked.ask("history", lambda: history(season, posterior, level=level))
    asked.ask("worth", lambda: worth(season, posterior, level))
    return asked


def _known(now: Standing, dim: str) -> list[str]:
    return [str(label) for label in now.draws[dim].values] if dim in now.draws.coords else []
