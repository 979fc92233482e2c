"""Athletes of squads with known truth, and how what is said of them is judged.

They come from the generator of the other studies, which shares no code with the model. Their
types' dips and half-lives, noise, scatter, drift and tails vary about those of their group.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from slackwater.model.season import Season
from tests.studies.generator import Made, make
from tests.studies.kinds import AS_MODELLED, Scales

Floats = NDArray[np.float64]

NIGHTS: Final = 112
LEVEL: Final = 0.8
# Median and SD of the log over athletes, about half as wide as what is believed of one.
OF_GROUP: Final = {"scatter": (0.25, 0.25), "drift": (0.008, 0.35), "tail": (0.5, 0.25)}
NOISE: Final = (0.08, 0.13)  # uniform, as the generator draws it
HALF_LIVES: Final = (0.7, 2.0)  # log-uniform, as the generator draws them


def athlete(squad: int, place: int, nights: int = NIGHTS, **changes: Any) -> Made:
    """Return the made season of one athlete of a squad."""
    rng = np.random.default_rng([17, squad, place])
    drawn = {
        name: median * math.exp(sd * rng.standard_normal())
        for name, (median, sd) in OF_GROUP.items()
    }
    return make(AS_MODELLED, 1000 * squad + place, nights, Scales(**drawn), **changes)


def season_of(made: Made) -> Season:
    """Return a season without what the athlete is not to know of."""
    return Season.from_tables(
        "made", made.tables["readings"], sessions=made.tables["sessions"]
    ).observed()


def judged(draws: Floats, truth: float) -> dict[str, float]:
    """Return whether an interval holds the truth, how wide it is and how far its median is off."""
    low, middle, high = np.quantile(draws, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
    return {
        "held": float(low <= truth <= high),
        "width": float(high - low),
        "error": float(middle - truth),
        "truth": truth,
    }
