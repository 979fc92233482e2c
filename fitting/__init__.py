"""What is done with the model: read a season, sample, answer, report.

    season = read_season("my-season")        # intake
    posterior = fit(season)                   # sampling
    now = standing(season, posterior)         # answers, each an xarray Dataset
    recovery(now)["typical_days"]
    forecast(now, nights=3)["rmssd_ms"]

Names are imported when they are first used: answering needs neither PyMC nor ArviZ.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from slackwater.fitting.answers.baseline import baseline
    from slackwater.fitting.answers.compare import (
        compare_attribute,
        compare_intervention,
        compare_types,
    )
    from slackwater.fitting.answers.course import course
    from slackwater.fitting.answers.elements import elements
    from slackwater.fitting.answers.explain import explain
    from slackwater.fitting.answers.forecast import forecast, planned_session
    from slackwater.fitting.answers.history import history
    from slackwater.fitting.answers.recovery import recovery
    from slackwater.fitting.answers.repeats import repeats
    from slackwater.fitting.answers.washout import washout, washout_before_fit
    from slackwater.fitting.answers.worth import worth
    from slackwater.fitting.intake import check_season, read_season
    from slackwater.fitting.sampling.fit import fit
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.spacing.check import check_spacing
    from slackwater.fitting.spacing.plan import plan_spacing
    from slackwater.fitting.state.standing import Standing, standing
    from slackwater.fitting.trials.analyse import analyse_trial
    from slackwater.fitting.trials.ledger import trial_ledger
    from slackwater.fitting.trials.plan import plan_trial
    from slackwater.fitting.trials.today import trial_today

_HOME: Final = {
    "Posterior": "sampling.posterior",
    "Standing": "state.standing",
    "analyse_trial": "trials.analyse",
    "baseline": "answers.baseline",
    "check_season": "intake",
    "check_spacing": "spacing.check",
    "compare_attribute": "answers.compare",
    "compare_intervention": "answers.compare",
    "compare_types": "answers.compare",
    "course": "answers.course",
    "elements": "answers.elements",
    "explain": "answers.explain",
    "fit": "sampling.fit",
    "forecast": "answers.forecast",
    "history": "answers.history",
    "plan_spacing": "spacing.plan",
    "plan_trial": "trials.plan",
    "planned_session": "answers.forecast",
    "read_season": "intake",
    "recovery": "answers.recovery",
    "repeats": "answers.repeats",
    "standing": "state.standing",
    "trial_ledger": "trials.ledger",
    "trial_today": "trials.today",
    "washout": "answers.washout",
    "washout_before_fit": "answers.washout",
    "worth": "answers.worth",
}

__all__ = [
    "Posterior",
    "Standing",
    "analyse_trial",
    "baseline",
    "check_season",
    "check_spacing",
    "compare_attribute",
    "compare_intervention",
    "compare_types",
    "course",
    "elements",
    "explain",
    "fit",
    "forecast",
    "history",
    "plan_spacing",
    "plan_trial",
    "planned_session",
    "read_season",
    "recovery",
    "repeats",
    "standing",
    "trial_ledger",
    "trial_today",
    "washout",
    "washout_before_fit",
    "worth",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
