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
    from slackwater.fitting.answers.forecast import forecast, planned_session
    from slackwater.fitting.answers.recovery import recovery
    from slackwater.fitting.answers.standing import Standing, standing
    from slackwater.fitting.intake import check_season, read_season
    from slackwater.fitting.sampling.fit import fit
    from slackwater.fitting.sampling.posterior import Posterior

_HOME: Final = {
    "Posterior": "sampling.posterior",
    "Standing": "answers.standing",
    "baseline": "answers.baseline",
    "check_season": "intake",
    "compare_attribute": "answers.compare",
    "compare_intervention": "answers.compare",
    "compare_types": "answers.compare",
    "fit": "sampling.fit",
    "forecast": "answers.forecast",
    "planned_session": "answers.forecast",
    "read_season": "intake",
    "recovery": "answers.recovery",
    "standing": "answers.standing",
}

__all__ = [
    "Posterior",
    "Standing",
    "baseline",
    "check_season",
    "compare_attribute",
    "compare_intervention",
    "compare_types",
    "fit",
    "forecast",
    "planned_session",
    "read_season",
    "recovery",
    "standing",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
