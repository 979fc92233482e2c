"""A recovery measure across squads with known truth: what the group shows, and what each athlete.

Part of the study of squads (`python -m tests.studies.squads`).
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from slackwater.fitting.pooling.pool import pool
from slackwater.model import names as n
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.generator import MEASURE, Made, Measure
from tests.studies.squad_athletes import NIGHTS, athlete, judged
from tests.studies.squad_stages import fitted

# Log rate ratio: over athletes it is normal about a faster recovery, by a quarter.
MEAN: Final = math.log(1.25)
SPREAD: Final = 0.2
_SQUADS: Final = 200  # apart from those of the rest of the study


def measure_across(squad: int, athletes: int) -> dict[str, Any]:
    """Judge what is said of a measure that every athlete of a squad uses in half of the weeks."""
    rng = np.random.default_rng([23, squad])
    logs = MEAN + SPREAD * rng.standard_normal(athletes)
    alone = []
    for place, log_ratio in enumerate(logs):
        made = athlete(_SQUADS + squad, place, NIGHTS, measure=Measure(math.exp(log_ratio)))
        season = _season(made)
        alone.append(fitted(season, Priors(), place, athletes))
    pooled = pool(alone)
    group = pooled.population
    another = group.another(n.LOG_RATE_RATIO, rng, MEASURE)
    return {
        "mean": judged(group.typical(n.LOG_RATE_RATIO, MEASURE), MEAN),
        "spread": judged(group.spreads[n.LOG_RATE_RATIO], SPREAD),
        "another": judged(another, float(MEAN + SPREAD * rng.standard_normal())),
        "alone": [
            judged(each.column(n.LOG_RATE_RATIO, MEASURE), truth)
            for each, truth in zip(alone, logs.tolist(), strict=True)
        ],
        "pooled": [
            judged(each.column(n.LOG_RATE_RATIO, MEASURE), truth)
            for each, truth in zip(pooled.athletes, logs.tolist(), strict=True)
        ],
    }


def _season(made: Made) -> Season:
    tables = made.tables
    return Season.from_tables(
        "made",
        tables["readings"],
        sessions=tables["sessions"],
        interventions=tables["interventions"],
    ).observed()
