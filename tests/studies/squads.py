"""Squads with known truth: what is learnt of the group, and what it is worth to each athlete.

    python -m tests.studies.squads [--squads 4] [--athletes 8] [--sizes 4] [--jobs 1]

Takes about three minutes of processor time for each squad and ten for each large one; resumes where
it was stopped. Writes docs/calibration/squads.md. Needs the extra `studies`.

Athletes are those of `squad_athletes`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scoringrules import crps_normal

from slackwater.fitting import Athlete, forecast
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.pooling.alone import Alone, alone_of, kept_of_each
from slackwater.fitting.pooling.pool import Pooled, pool
from slackwater.fitting.sampling.brief import fit_briefly
from slackwater.fitting.sampling.fit import FEWEST_READINGS
from slackwater.model.errors import NoAnswerError
from slackwater.model.population import Population, own_share
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.generator import Made, Measure
from tests.studies.pool import run_all
from tests.studies.squad_athletes import athlete, judged, season_of
from tests.studies.squad_judging import days_alone, of_alone, of_athletes, of_group
from tests.studies.squad_measures import measure_across
from tests.studies.squad_sizes import by_size
from tests.studies.squad_stages import fitted, fitted_again
from tests.studies.squads_page import page

Floats = NDArray[np.float64]

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "squads.md"
WEEKS: Final = (2, 4, 8, 16)
NEW: Final = 8  # athletes who join a squad after it was learnt
SLOW: Final = 0.4  # recovery rate of the one unlike all others, over what it would be


def in_two_stages(
    seasons: Sequence[Season],
) -> tuple[Pooled, Pooled, list[Alone], dict[str, float]]:
    """Fit each alone, pool, fit whom to fit again under the group, and pool again."""
    seconds = {}

    def timed(name: str, begun: float) -> float:
        seconds[name] = time.process_time() - begun
        return time.process_time()

    begun = time.process_time()
    alone = [fitted(season, Priors(), seed, len(seasons)) for seed, season in enumerate(seasons)]
    begun = timed("alone", begun)
    first = pool(alone)
    begun = timed("pool", begun)
    again = fitted_again(first, seasons, alone)
    begun = timed("again", begun)
    second = pool(again)
    timed("pool again", begun)
    return first, second, alone, seconds


def judge_squad(squad: int, athletes: int) -> dict[str, Any]:
    """Judge one squad, those who join it, and one unlike all others."""
    made = [athlete(squad, place) for place in range(athletes)]
    seasons = [season_of(each) for each in made]
    compile_first(seasons[0])
    first, second, alone, seconds = in_two_stages(seasons)
    return {
        "group": of_group(second.population),
        "alone": of_alone(alone, made),
        "first": of_athletes(first, made),
        "second": of_athletes(second, made),
        "pareto_k": [[each.pareto_k for each in pooled.athletes] for pooled in (first, second)],
        "again": [len(pooled.again) for pooled in (first, second)],
        "seconds": seconds,
        "new": [
            row
            for place in range(athletes, athletes + NEW)
            for row in of_new(squad, place, second.population)
        ],
        "unlike": unlike(squad, athletes + NEW, alone[1:]),
    }


def compile_first(season: Season) -> None:
    """Compile what is timed later."""
    for priors in (Priors(), Population.unknown().priors()):
        fit_briefly(season, priors=priors, seed=0)


def of_new(squad: int, place: int, group: Population) -> Iterable[dict[str, Any]]:
    """Judge what is said of an athlete who joins, after so many weeks, alone and by the group."""
    for weeks in WEEKS:
        made = athlete(squad, place, 7 * weeks)
        season = season_of(made)
        if season.read.sum() < FEWEST_READINGS:
            continue
        counts = made.tables["sessions"]["type"].value_counts()
        for how, priors in (("alone", Priors()), ("group", group.priors())):
            posterior = fit_briefly(season, priors=priors, seed=place)
            someone = Athlete(season, posterior)
            days, labels = typical_days(someone.now), someone.now.types
            yield {
                "weeks": weeks,
                "how": how,
                "crps": _crps(someone, made),
                "types": [
                    {**judged(days[:, i], made.days[label]), "sessions": int(counts[label])}
                    for i, label in enumerate(labels)
                ],
                "own_share": [
                    own_share(
                        np.log(days[:, i]),
                        np.log(group.days_of_another(label, np.random.default_rng(place))),
                    )
                    for i, label in enumerate(labels)
                ],
            }


def _crps(someone: Athlete, made: Made) -> float | None:
    """Return the mean CRPS of the week of rest to come, ln ms; None where that is refused."""
    try:
        nights = forecast(someone, nights=len(made.coming)).nights
    except NoAnswerError:
        return None
    found = crps_normal(made.coming, nights["ln_mean"].values, nights["ln_sd"].values)
    return float(np.mean(found))


def unlike(squad: int, place: int, others: Sequence[Alone]) -> list[dict[str, Any]]:
    """Judge one who recovers far more slowly than all others, alone and among them."""
    every_day = Measure(ratio=SLOW, use=lambda sessions: _every_day())
    made = athlete(squad, place, measure=every_day)
    season = season_of(made)
    most = kept_of_each(1 + len(others))
    alone = alone_of(fit_briefly(season, priors=Priors(), seed=place), season, most=most)
    first = pool([alone, *others])
    known = first.population.priors()
    again = alone_of(fit_briefly(season, priors=known, seed=place), season, most=most)
    second = pool([again, *others]).athletes[0]
    found = []
    for label in second.types:
        truth = 1 + (made.days[label] - 1) / SLOW
        found.append(
            {
                "alone": judged(days_alone(alone, label), truth),
                "group": judged(second.typical_days(label), truth),
                "others": float(np.median(first.population.typical_days(label))),
            }
        )
    return found


def _every_day() -> NDArray[np.datetime64]:
    return np.arange("2030-12-01", "2032-01-01", dtype="datetime64[D]")


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Squads with known truth.")
    parser.add_argument("--squads", type=int, default=4)
    parser.add_argument("--athletes", type=int, default=8, help="of each squad")
    parser.add_argument("--sizes", type=int, default=4, help="large squads, judged by size")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    options = parser.parse_args()
    tasks = [(squad, options.athletes) for squad in range(options.squads)]
    squads = run_all("squads", judge_squad, tasks, options.jobs)
    measures = run_all("squads-measures", measure_across, tasks, options.jobs)
    sizes = run_all("squads-sizes", by_size, [(i,) for i in range(options.sizes)], options.jobs)
    text = page(squads, measures, sizes, options.athletes)
    PAGE.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
