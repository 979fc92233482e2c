"""What slackwater believes: the season as data, the recovery model, its simulator.

Pure: no files, no clock, no printing. Reading order: `names`, `season`, `trend`, `design`,
`levels`, `dynamics`, `priors`, `unexplained`, `likelihood`, `pooling`, `recovery`, `paths`,
`simulator`.

    model = build_model(season)     # a pymc.Model, for any PyMC sampler

Names are imported when they are first used, so that a season costs no PyMC.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from slackwater.model.priors import Priors
    from slackwater.model.recovery import build_model
    from slackwater.model.season import Season
    from slackwater.model.simulator import Impulse, Truth, plan_season, simulate

_HOME: Final = {
    "Impulse": "simulator",
    "Priors": "priors",
    "Season": "season",
    "Truth": "simulator",
    "build_model": "recovery",
    "plan_season": "simulator",
    "simulate": "simulator",
}

__all__ = ["Impulse", "Priors", "Season", "Truth", "build_model", "plan_season", "simulate"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
