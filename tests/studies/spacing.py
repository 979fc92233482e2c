"""Whether the chances that `spacing` promises hold, on seasons that its model did not make.

    python -m tests.studies.spacing [--seasons 150] [--others 15]

Takes about eight minutes on one core. Writes docs/calibration/spacing.md. Needs the extra
`studies`.

Each season comes from the generator, is fitted, and four sessions are planned from its last
morning. Then the plan is trained on the generator's own terms, many times over: the true dips
that the season left, each new session with its own scatter. A morning's promise holds when the
true dip lies under half of the true night-to-night standard deviation.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy

import argparse
import sys
import warnings
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from slackwater.fitting.answers.spacing import spacing
from slackwater.fitting.answers.standing import standing
from slackwater.fitting.sampling.fit import fit
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.generator import Made, Shape, make

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "spacing.md"
OTHERS: Final = (
    "fast and slow recovery",
    "deepest on the second night",
    "ten weeks, few sessions",
    "heavy tails, 20 % missing",
)
SESSIONS: Final = 4
DAYS: Final = 40
CHANCE: Final = 0.8
SCATTER: Final = 0.25  # of the generator's sessions, as it has it
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
    parser.add_argument("--seasons", type=int, default=150, help="seasons as modelled")
    parser.add_argument("--others", type=int, default=15, help="seasons of each other kind")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    modelled = _trained("as modelled", options.seasons)
    others = {kind: _trained(kind, options.others) for kind in OTHERS}
    page = _page(options, modelled, others)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _trained(kind: str, count: int) -> list[Trained | None]:
    return [_train(make(kind, 7000 + seed), seed) for seed in range(count)]


def _train(made: Made, seed: int) -> Trained | None:
    """Fit a season, plan four sessions and train them; None where there is no plan."""
    season = Season.from_tables("made", **made.tables)
    rng = np.random.default_rng([9, seed])
    labels = [str(t) for t in rng.choice(season.types, SESSIONS)]
    wanted = {label: labels.count(label) for label in dict.fromkeys(labels)}
    try:
        now = standing(season, fit(season, seed=seed, cores=1))
        answer = spacing(now, wanted, days=DAYS, chance=CHANCE)
    except NoAnswerError:
        return None
    if not answer.attrs["fits"]:
        return None
    last = pd.Timestamp(answer.attrs["last_night"])
    days = [((pd.Timestamp(s["date"]) - last).days, s["type"]) for s in answer.attrs["sessions"]]
    dips = _dips(made, days, rng)
    planned = np.isfinite(answer["chance_asked"].values)
    held = (dips <= 0.5 * made.noise).mean(axis=0)
    return Trained(answer["chance_recovered"].values, held, planned)


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
        dips[:, day + 1 :] += np.exp(SCATTER * rng.standard_normal((REPEATS, 1))) * course
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


def _page(
    options: argparse.Namespace,
    modelled: list[Trained | None],
    others: dict[str, list[Trained | None]],
) -> str:
    lines = ["| mornings | seasons | mornings | promised | held |", "|" + " --- |" * 5]
    lines.append(_row("with a planned session", modelled, lambda t: t.planned))
    for low, high in BINS:
        lines.append(
            _row(
                f"promised {100 * low:.0f} to {100 * high:.0f} %",
                modelled,
                lambda t, low=low, high=high: (t.promised >= low) & (t.promised <= high),
            )
        )
    other = ["| kind of season | seasons | mornings | promised | held |", "|" + " --- |" * 5]
    other += [_row(kind, trained, lambda t: t.planned) for kind, trained in others.items()]
    without = sum(t is None for t in modelled)
    return f"""# Do the promised chances of a plan hold?

Written by `python -m tests.studies.spacing --seasons {options.seasons} --others {options.others}`.

`slackwater spacing` promises, for each planned session, a chance of at least {CHANCE:.0%} to be \
recovered on its morning. Here {SESSIONS} sessions of types drawn at random are planned from the \
last morning of seasons made by a generator that shares no code with slackwater, and then trained \
{REPEATS} times on the generator's own terms: what its past sessions truly left, and each new \
one with a scatter of its own. *Held*: the share of mornings on which the true dip lay under half \
of the true night-to-night standard deviation. Ranges are two standard errors over seasons, \
within which mornings hang together.

## Seasons as modelled

{options.seasons} seasons; {without} without a plan. The second row and below take every morning \
of the {DAYS} days from the last reading, rest days too.

{chr(10).join(lines)}

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
