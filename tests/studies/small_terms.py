"""Whether small terms that the model lacks would pay on nights held out.

    python -m tests.studies.small_terms [--seasons 32] [--fits 16] [--jobs 1]

About a second of processor time a season, two for each that is fitted both ways; resumes where it
was stopped. Writes docs/calibration/small-terms.md. Needs the extra `studies`.

A recovery that changes within a season of some months, and a rhythm along a logged cycle.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple
from unittest.mock import patch

import numpy as np

from slackwater.fitting import Athlete, recovery
from slackwater.fitting.answers.intervals import interval_of
from slackwater.fitting.sampling.brief import fit_briefly
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.model import design
from slackwater.model.priors import Priors
from slackwater.model.season import Season
from tests.studies.asking import covers
from tests.studies.generator import FIRST_DAY, Made, Measure, make
from tests.studies.kinds import AS_MODELLED
from tests.studies.linearised import Floats, changing, gain, linearised, rhythm
from tests.studies.pool import run_all
from tests.studies.shapes import days

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "small-terms.md"
HELD_OUT: Final = 42  # nights at the end
WAYS: Final = ("one", "changing")
CYCLE: Final = (28.0, 2.0)  # days from one first day to the next: mean and SD
Rows = list[dict[str, Any]]


class Kind(NamedTuple):
    """A kind of season.

    Attributes:
        nights: how many it has.
        measure: what it is like in one half, in which nothing is logged; None where nothing is.
        later: whether that is the second half.
        rhythm: from the highest to the lowest mean of a cycle, ln; None where none is logged.
        made_as: the generator's kind that it is made as.
    """

    nights: int
    measure: Measure | None = None
    later: bool = False
    rhythm: float | None = None
    made_as: str = AS_MODELLED


SLOWER: Final = Measure(2 / 3)
SHALLOWER: Final = Measure(shallower=1 / 3)
CHANGING: Final[Mapping[str, Kind]] = {
    f"{what}, {nights} nights": how._replace(nights=nights)
    for nights in (224, 350)
    for what, how in {
        "recovery stays as it is": Kind(0),
        "recovery a third slower in the first half": Kind(0, SLOWER),
        "dips a third shallower in the second half": Kind(0, SHALLOWER, later=True),
    }.items()
}
UNLIKE: Final[Mapping[str, Kind]] = {
    f"{what}, 224 nights": Kind(224, made_as=what)
    for what in ("one session in eight not logged", "weekly rhythm, fixed weekdays")
}
CYCLES: Final[Mapping[str, Kind]] = {
    "a cycle that readings do not show": Kind(168, rhythm=0.0),
    "readings 4 % lower at its lowest": Kind(168, rhythm=0.04),
    "readings 8 % lower at its lowest": Kind(168, rhythm=0.08),
    "readings 12 % lower at its lowest": Kind(168, rhythm=0.12),
}


def main() -> None:
    """Run what is missing, then write the page."""
    parser = argparse.ArgumentParser(description="Try small terms on nights held out.")
    parser.add_argument("--seasons", type=int, default=32, help="seasons a kind")
    parser.add_argument("--fits", type=int, default=16, help="seasons a kind fitted both ways")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    given = parser.parse_args()
    names = [*CHANGING, *CYCLES]
    tasks = [(name, seed) for seed in range(given.seasons) for name in names]
    rows = run_all("small_terms", held_out, tasks, given.jobs)
    tasks = [(name, seed) for seed in range(given.fits) for name in (*CHANGING, *UNLIKE)]
    page = _page(rows, run_all("small_terms_fits", both_ways, tasks, given.jobs), given)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def held_out(name: str, seed: int) -> dict[str, Any]:
    """Return what a term gains on the last nights of one season, nats per 100 nights read."""
    kind = {**CHANGING, **CYCLES}[name]
    made = _made(kind, seed)
    phase = np.zeros(kind.nights)
    if kind.rhythm is not None:
        phase, shift = _cycle(kind, np.random.default_rng([5, seed]))
        readings = made.tables["readings"]
        dates = readings["date"].to_numpy().astype("datetime64[D]")
        night = (dates - np.datetime64(FIRST_DAY)).astype(int)
        made.tables["readings"] = readings.assign(
            rmssd_ms=readings["rmssd_ms"] * np.exp(shift[night])
        )
    season = Season.from_tables("made", **made.tables)
    known = season.through(season.last_night - np.timedelta64(HELD_OUT, "D"))
    posterior = _fitted(known, seed, "one")
    line = linearised(season, posterior)
    terms = changing(line) if kind.rhythm is None else rhythm(phase)
    gained, nights = gain(line, terms)
    return {"kind": name, "gain": 100 * gained / nights}


def both_ways(name: str, seed: int) -> dict[str, Any]:
    """Return what ranges of today's typical days are, with one recovery and one that changes."""
    kind = {**CHANGING, **UNLIKE}[name]
    made = _made(kind, seed)
    season = Season.from_tables("made", **made.tables)
    deep = 1 - kind.measure.shallower if kind.measure and kind.later else 1.0
    truth = {label: days(shape, deep, 0.5 * made.noise) for label, shape in made.impulses.items()}
    found: dict[str, Any] = {"kind": name}
    for way in WAYS:
        begun = time.process_time()
        posterior = _fitted(season, seed, way)
        seconds = time.process_time() - begun
        typical = recovery(Athlete(season, posterior)).types["typical_days"]
        each = [covers(interval_of(typical.sel(type=t)), truth[t]) for t in typical["type"].values]
        over = [at for at, t in zip(each, typical["type"].values, strict=True) if truth[t] > 1]
        found[way] = {"types": over, "seconds": seconds}
    return found


def _fitted(season: Season, seed: int, way: str) -> Posterior:
    """Return what is learnt of a season with one recovery all through, or as slackwater does."""
    if way == "changing":
        return fit_briefly(season, priors=Priors(), seed=seed)
    with patch.object(design, "steps_over", lambda nights: 0):
        return fit_briefly(season, priors=Priors(), seed=seed)


def _made(kind: Kind, seed: int) -> Made:
    nights = np.datetime64(FIRST_DAY) + np.arange(kind.nights)
    half = nights[kind.nights // 2 :] if kind.later else nights[: kind.nights // 2]
    measure = kind.measure and kind.measure._replace(use=lambda _: half)
    made = make(kind.made_as, seed, kind.nights, measure=measure)
    made.tables.pop("interventions", None)
    return made


def _cycle(kind: Kind, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return each night's place in its cycle as it is logged, a share, and what readings gain.

    How long a cycle is, is known once the next has begun: held-out nights take it for usual.
    """
    assert kind.rhythm is not None
    lengths = np.round(rng.normal(*CYCLE, 3 + int(kind.nights / CYCLE[0])))
    firsts = np.concatenate([[0.0], np.cumsum(lengths)]) - rng.uniform(0, CYCLE[0])
    nights = np.arange(kind.nights)
    at = np.searchsorted(firsts, nights, side="right") - 1
    since, highest = nights - firsts[at], rng.uniform(0.1, 0.3)
    shift = 0.5 * kind.rhythm * np.cos(2 * np.pi * (since / lengths[at] - highest))
    known = nights < kind.nights - HELD_OUT
    return since / np.where(known, lengths[at], CYCLE[0]), shift


def _held(rows: Rows) -> str:
    lines = [
        "| kind of season | recovery | held | width, days | bias, days | processor time |",
        "| --- | --- | ---: | ---: | ---: | ---: |",
    ]
    for name in (*CHANGING, *UNLIKE):
        its = [row for row in rows if row["kind"] == name]
        for way in WAYS:
            each = [np.mean([at["cover"] for at in row[way]["types"]]) for row in its]
            every = [at for row in its for at in row[way]["types"]]
            width, error = (np.mean([at[what] for at in every]) for what in ("width", "error"))
            seconds = np.median([row[way]["seconds"] for row in its])
            spread = np.std(each, ddof=1) / len(each) ** 0.5
            lines.append(
                f"| {name} | {way} | {np.mean(each):.2f} ({spread:.2f}) | {width:.2f} "
                f"| {error:+.2f} | {seconds:.1f} s |"
            )
    return "\n".join(lines)


def _page(rows: Rows, fits: Rows, given: argparse.Namespace) -> str:
    seasons = given.seasons

    def table(kinds: Mapping[str, Kind]) -> str:
        lines = ["| kind of season | gain, nats per 100 nights |", "| --- | ---: |"]
        for name in kinds:
            gains = np.array([row["gain"] for row in rows if row["kind"] == name])
            error = gains.std(ddof=1) / len(gains) ** 0.5
            lines.append(f"| {name} | {gains.mean():+.2f} ({error:.2f}) |")
        return "\n".join(lines)

    return f"""# Small terms that were tried

Written by `python -m tests.studies.small_terms --seasons {seasons} --fits {given.fits}`; \
{seasons} made seasons of each kind.

A term is worth having where it foretells nights better that it has not seen. The model is made \
linear about what a brief fit of all but the last {HELD_OUT} nights learnt \
(`tests/studies/linearised.py`), which takes noise as normal; the log density of the last \
{HELD_OUT} nights is then exact, with the term and without it. How large the term is, is summed \
out over its prior. In brackets: the standard error over seasons.

## Recovery that changes within a season

In seasons of more than half a year `slackwater` lets recovery change ([the model](../model.md)), \
for what is measured here: without the term recovery is held to be one all through.

{table(CHANGING)}

What it costs, and what it buys in the answer: {given.fits} seasons of each kind, fitted briefly \
with one recovery all through and as slackwater does, two kinds among them that the model gets \
wrong; 80 % ranges of today's typical days, of \
types that truly take more than one. In brackets: the standard error over seasons.

{_held(fits)}

## A rhythm along a logged cycle

For those who log the first day of each cycle: one wave along the cycle, of unknown height and \
place. The height is LogNormal(0.02, 0.7) beforehand. That RMSSD goes through a cycle, highest \
about day 5 and lowest about day 27, was seen in 45,811 cycles (npj Digital Medicine 2024, \
doi:10.1038/s41746-024-01394-0); lower in the second half than in the first: Schmalenberger et \
al. 2019 (Journal of Clinical Medicine 8:1946, a review). How many percent is left open here. \
Cycles take 28 days, give or take 2 (SD; a round figure, no source).

{table(CYCLES)}
"""


if __name__ == "__main__":
    main()
