"""Squads with known truth fitted in two stages, and with all readings at once.

    python -m tests.studies.squads_jointly [--small 2] [--large 1]

Takes some eight minutes of both cores for each squad; resumes where it was stopped. One squad at a
time, since what a joint fit takes by the clock is part of it. Writes
docs/calibration/squads-jointly.md. Needs the extra `studies`.

Athletes are those of `squad_athletes`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import sys
import time
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.alone import Alone, alone_of, kept_of_each
from slackwater.fitting.pooling.jointly import fit_jointly
from slackwater.fitting.pooling.pool import Pooled, pool
from slackwater.fitting.sampling.fit import fit
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.pool import run_all
from tests.studies.squad_athletes import athlete, season_of
from tests.studies.squad_judging import learnt, of_athletes, of_group
from tests.studies.squads_jointly_page import page

Floats = NDArray[np.float64]

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "squads-jointly.md"
# Athletes, nights, and draws of each chain: jointly, and of one athlete.
SMALL: Final = (6, 84, 4000, 2000)
LARGE: Final = (30, 180, 1900, 2000)
CORES: Final = 2


def both_ways(squad: int, athletes: int, nights: int, jointly: int, each: int) -> dict[str, Any]:
    """Fit one squad jointly and in two stages, with as many draws as tell them apart.

    In two stages as squads are fitted, and with every athlete fitted again under the group, twice,
    whoever needs it.
    """
    made = [athlete(500 + squad, place, nights) for place in range(athletes)]
    seasons = [season_of(one) for one in made]
    begun = time.perf_counter()
    joint = fit_jointly(seasons, seed=squad, draws=jointly, cores=CORES)
    seconds = time.perf_counter() - begun
    alone = [_fitted(season, Priors(), seed, each, athletes) for seed, season in enumerate(seasons)]
    stages = [pool(alone, draws=4000)]
    for again in (stages[0].again, range(athletes), range(athletes)):
        priors = stages[-1 if len(stages) > 2 else 0].population.priors()
        fits = list(alone)
        for place in again:
            seed = 100 * len(stages) + place
            fits[place] = _fitted(seasons[place], priors, seed, each, athletes)
        stages.append(pool(fits, draws=4000))
    usual = stages[1]
    return {
        "seconds": seconds,
        "checks": [joint.checks.divergences, joint.checks.worst_rhat, joint.checks.worst_bulk_ess],
        "draws": joint.checks.draws,
        "again": len(stages[0].again),
        "apart": [differences(joint.pooled, staged) for staged in stages],
        "group": of_group(joint.pooled.population),
        "days": of_athletes(joint.pooled, made),
        "days in two stages": of_athletes(usual, made),
        "group in two stages": of_group(usual.population),
    }


def _fitted(season: Season, priors: Priors, seed: int, draws: int, athletes: int) -> Alone:
    posterior = fit(season, priors=priors, seed=seed, draws=draws, cores=CORES)
    return alone_of(posterior, season, most=kept_of_each(athletes))


def differences(joint: Pooled, staged: Pooled) -> list[dict[str, Any]]:
    """Return how far medians lie apart, in posterior SDs, and what of that is Monte Carlo."""
    from arviz_stats.base import array_stats

    found = []

    def add(what: str, ours: Floats, other: Floats, effective: float) -> None:
        sd = ours.std()
        if sd > 1e-9:
            size = array_stats.ess(ours.reshape(4, -1), chain_axis=0, draw_axis=1)
            found.append(
                {
                    "what": what,
                    "apart": float((np.median(other) - np.median(ours)) / sd),
                    "error": 1.25 * math.sqrt(1 / float(size) + 1 / effective),
                }
            )

    for ours, other in zip(joint.athletes, staged.athletes, strict=True):
        effective = other.effective if not other.again else len(other.moved)
        for column in ours.alone.columns:
            add("athletes", ours.column(*column), other.column(*column), effective)
        for label in ours.types:
            add("days", ours.typical_days(label), other.typical_days(label), effective)
    of_joint, of_staged = learnt(joint.population), learnt(staged.population)
    for name, draws in of_joint.items():
        what = "spreads" if name.startswith("spread") else "means"
        add(what, draws, of_staged[name], len(of_staged[name]) / 2)
    return found


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Squads fitted jointly and in two stages.")
    parser.add_argument("--small", type=int, default=2, help="squads of six")
    parser.add_argument("--large", type=int, default=1, help="squads of thirty")
    options = parser.parse_args()
    small = [(squad, *SMALL) for squad in range(options.small)]
    large = [(100 + squad, *LARGE) for squad in range(options.large)]
    found = [run_all("squads-jointly", both_ways, tasks, jobs=1) for tasks in (large, small)]
    text = page(*found)
    PAGE.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
