"""Whether the chances that `spacing` promises hold, on seasons that its model did not make.

    python -m tests.studies.spacing [--drawn 150] [--seasons 150] [--others 15]

Takes about fifteen minutes on two cores; resumes where it was stopped. Writes
docs/calibration/spacing.md. Needs the extra `studies`.

Each season is fitted, and four sessions are planned from its last morning. Then the plan is
trained on the season's true terms, many times over: the true dips that the season left, each new
session with its own scatter. A morning's promise holds when the true dip lies under half of the
true night-to-night standard deviation. Seasons come from the generator, and, where the promise
must hold by the model's own lights, from athletes drawn from the priors.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy

import argparse
import sys
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from slackwater.fitting import Athlete
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.spacing.plan import plan_spacing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from slackwater.model.simulator import Truth, simulate
from tests.studies.generator import Made, make
from tests.studies.kinds import MEDIANS
from tests.studies.pool import run_all
from tests.studies.ranks import draw_truth, season_to_draw
from tests.studies.shapes import Shape

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "spacing.md"
OTHERS: Final = (
    "fast and slow recovery",
    "deepest on the second night",
    "ten weeks, few sessions",
    "heavy tails, 20 % missing",
)
DRAWN: Final = "drawn from the priors"
SESSIONS: Final = 4
DAYS: Final = 40
CHANCE: Final = 0.8
REPEATS: Final = 200
BINS: Final = ((0.0, 0.05), (0.05, 0.25), (0.25, 0.45), (0.45, 0.65), (0.75, 0.85), (0.85, 0.95))


class Trained(NamedTuple):
    """One season's plan against the truth, morning by morning.

    Attributes:
        promised: the chance promised on each morning.
        held: how often it held.
        planned: whether a session is planned on it.
    """

    promised: np.ndarray
    held: np.ndarray
    planned: np.ndarray


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold promised chances against the truth.")
    parser.add_argument("--drawn", type=int, default=150, help="athletes drawn from the priors")
    parser.add_argument("--seasons", type=int, default=150, help="seasons as modelled")
    parser.add_argument("--others", type=int, default=15, help="seasons of each other kind")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    drawn = _trained(DRAWN, options.drawn)
    modelled = _trained("as modelled", options.seasons)
    others = {kind: _trained(kind, options.others) for kind in OTHERS}
    page = _page(options, drawn, modelled, others)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _trained(kind: str, count: int) -> list[Trained | None]:
    found = run_all("spacing", train, [(kind, seed) for seed in range(count)])
    return [Trained(**{k: np.array(v) for k, v in one.items()}) if one else None for one in found]


def train(kind: str, seed: int) -> dict[str, list[Any]]:
    """Return what became of one season's plan, as JSON has it; empty where there is no plan."""
    trainee = _drawn(seed) if kind == DRAWN else _generated(make(kind, 7000 + seed, scales=MEDIANS))
    trained = _train(trainee, seed)
    return {k: v.tolist() for k, v in trained._asdict().items()} if trained else {}


class Trainee(NamedTuple):
    """A season and what is true of it.

    Attributes:
        season: what was logged.
        noise: true SD of an ordinary night, ln.
        dips: returns the true dips on each morning of the plan, (REPEATS, DAYS), as if it was
            trained, from the plan's sessions (day and type).
    """

    season: Season
    noise: float
    dips: Callable[[list[tuple[int, str]], np.random.Generator], np.ndarray]


def _generated(made: Made) -> Trainee:
    return Trainee(Season.from_tables("made", **made.tables), made.noise, partial(_dips, made))


def _drawn(seed: int) -> Trainee:
    """Return a season of an athlete drawn from the priors, types alone."""
    rng = np.random.default_rng([10, seed])
    plan = season_to_draw(rng)
    tables = plan.tables()
    _, truth = draw_truth(plan, rng)
    plan = Season.from_tables("drawn", tables["readings"], tables["sessions"], tables["types"])
    state = rng.bit_generator.state
    made = simulate(truth, plan, rng)
    rng.bit_generator.state = state  # the scatter of the start and the sessions is drawn first
    sessions = plan.session_nights()
    scatter = rng.standard_normal(1 + len(sessions))[1:]
    ages = len(plan.nights) - 1 - sessions
    left: dict[str, float] = dict.fromkeys(truth.types, 0.0)
    for name, dose, z, age in zip(
        plan.data[n.SESSION_TYPE].values, plan.data[n.DOSE].values, scatter, ages, strict=True
    ):
        size = dose * truth.types[name].dip * np.exp(truth.session_sd * z) / truth.first_night
        left[str(name)] += size * np.exp(-truth.types[name].rate * age)
    start = truth.start.dip * np.exp(-truth.start.rate * (len(plan.nights) - 1))
    if not np.isclose(sum(left.values()) + start, made.dip[-1]):
        raise AssertionError("the season's dips are not what was taken apart")
    return Trainee(made.season, truth.noise_sd, partial(_dips_of, truth, left, start))


def _dips_of(
    truth: Truth,
    left: dict[str, float],
    start: float,
    days: list[tuple[int, str]],
    rng: np.random.Generator,
) -> np.ndarray:
    ahead = np.arange(DAYS)
    course = start * np.exp(-truth.start.rate * ahead)
    course += sum(dip * np.exp(-truth.types[name].rate * ahead) for name, dip in left.items())
    dips = np.tile(course, (REPEATS, 1))
    for day, label in days:
        impulse = truth.types[label]
        scatter = np.exp(truth.session_sd * rng.standard_normal((REPEATS, 1)))
        size = impulse.dip / truth.first_night * scatter
        dips[:, day + 1 :] += size * np.exp(-impulse.rate * ahead[: DAYS - day - 1])
    return dips


def _train(trainee: Trainee, seed: int) -> Trained | None:
    """Fit a season, plan four sessions and train them; None where there is no plan."""
    season = trainee.season
    rng = np.random.default_rng([9, seed])
    labels = [str(t) for t in rng.choice(season.types, SESSIONS)]
    wanted = {label: labels.count(label) for label in dict.fromkeys(labels)}
    try:
        athlete = Athlete(season, fit(season, seed=seed, cores=1))
        plan = plan_spacing(athlete, wanted, days=DAYS, chance=CHANCE)
    except NoAnswerError:
        return None
    if not plan.fits:
        return None
    days = [((session.date - plan.start).days, session.type) for session in plan.sessions]
    dips = trainee.dips(days, rng)
    planned = np.array([day.chance_asked is not None for day in plan.calendar])
    held = (dips <= 0.5 * trainee.noise).mean(axis=0)
    promised = np.array([day.chance_recovered for day in plan.calendar])
    return Trained(promised, held, planned)


def _dips(made: Made, days: list[tuple[int, str]], rng: np.random.Generator) -> np.ndarray:
    """Return the true dips on each morning of the plan, (REPEATS, DAYS), as if it was trained."""
    nights = len(made.dip)
    left = np.zeros(DAYS)
    for first, shape, size in _heights(made):
        left += [
            size * shape.at(n, n) for n in range(nights - 1 - first, nights - 1 - first + DAYS)
        ]
    dips = np.tile(left, (REPEATS, 1))
    for day, label in days:
        course = [made.impulses[label].at(m - day - 1, m - day - 1) for m in range(day + 1, DAYS)]
        dips[:, day + 1 :] += np.exp(MEDIANS.scatter * rng.standard_normal((REPEATS, 1))) * course
    return dips


def _heights(made: Made) -> list[tuple[int, Shape, float]]:
    """Work out from a season's true dips how large each of its sessions was.

    Returns:
        First night, course and size of the unlogged start and of each session.
    """
    start = pd.Timestamp(made.tables["readings"]["date"].iloc[0])
    sessions = made.tables["sessions"]
    felt = {
        (date - start).days + 1: label
        for date, label in zip(sessions["date"], sessions["type"], strict=True)
    }
    found = [(0, Shape(((float(made.dip[0]), 2.5),)), 1.0)]
    for night in range(1, len(made.dip)):
        before = sum(size * shape.at(night - f, night - f) for f, shape, size in found)
        if night in felt:
            shape = made.impulses[felt[night]]
            found.append((night, shape, (made.dip[night] - before) / shape.at(0, 0)))
        elif abs(made.dip[night] - before) > 1e-9:
            raise AssertionError(f"night {night}: the season's dips are not what was taken apart")
    return found


def _table(trained: list[Trained | None]) -> str:
    lines = ["| mornings | seasons | mornings | promised | held |", "|" + " --- |" * 5]
    lines.append(_row("with a planned session", trained, lambda t: t.planned))
    for low, high in BINS:
        lines.append(
            _row(
                f"promised {100 * low:.0f} to {100 * high:.0f} %",
                trained,
                lambda t, low=low, high=high: (t.promised >= low) & (t.promised <= high),
            )
        )
    return "\n".join(lines)


def _page(
    options: argparse.Namespace,
    drawn: list[Trained | None],
    modelled: list[Trained | None],
    others: dict[str, list[Trained | None]],
) -> str:
    other = ["| kind of season | seasons | mornings | promised | held |", "|" + " --- |" * 5]
    other += [_row(kind, trained, lambda t: t.planned) for kind, trained in others.items()]
    return f"""# Do the promised chances of a plan hold?

Written by `python -m tests.studies.spacing --drawn {options.drawn} --seasons {options.seasons} \
--others {options.others}`.

`slackwater spacing` promises, for each planned session, a chance of at least {CHANCE:.0%} to be \
recovered on its morning. Here {SESSIONS} sessions of types drawn at random are planned from the \
last morning of made seasons, and then trained {REPEATS} times on their true terms: what the past \
sessions truly left, and each new one with a scatter of its own. *Held*: the share of mornings on \
which the true dip lay under half of the true night-to-night standard deviation. Ranges are two \
standard errors over seasons, within which mornings hang together.

The second row and below take every morning of the {DAYS} days from the last reading, rest days \
too.

## Athletes drawn from the priors

By the model's own lights a promise must hold here: each athlete is drawn from the priors and \
logs 100 nights from the model's own simulator. {options.drawn} seasons; \
{sum(t is None for t in drawn)} without a plan.

{_table(drawn)}

## One kind of athlete

Seasons as modelled, from a generator that shares no code with slackwater, whose athletes are more \
alike than the priors allow for. {options.seasons} seasons; {sum(t is None for t in modelled)} \
without a plan.

{_table(modelled)}

## Seasons that the model does not describe

Mornings with a planned session; {options.others} seasons of each kind.

{chr(10).join(other)}
""".replace("%", " %").replace("  %", " %")


def _row(name: str, trained: list[Trained | None], chosen: Any) -> str:
    """Return the mean promise and the share held of the chosen mornings, with its range."""
    promised, held, counts = [], [], []
    for season in trained:
        if season is not None and chosen(season).any():
            promised.append(season.promised[chosen(season)].sum())
            held.append(season.held[chosen(season)].sum())
            counts.append(chosen(season).sum())
    count = np.sum(counts)
    share = np.sum(held) / count
    apart = np.asarray(held) - share * np.asarray(counts)
    error = 2 * np.sqrt((apart**2).sum()) / count
    shown = f"{len(counts)} | {count} | {np.sum(promised) / count:.1%}"
    return f"| {name} | {shown} | {share:.1%} ± {error:.1%} |"


if __name__ == "__main__":
    main()
