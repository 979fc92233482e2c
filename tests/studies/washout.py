"""Whether a promise of `washout` holds, where 90 % are asked for, on athletes of the priors.

    python -m tests.studies.washout [--rested 250] [--trained 90]

Takes about eight minutes on one core. Writes docs/calibration/washout.md. Needs the extra
`studies`.

Each season is simulated from the model's own simulator, with every parameter drawn from its
prior. It begins with two weeks of rest, and is asked either at their end or after six weeks of
training that follow; then rest goes on. The truth is the simulated dip on the promised day
against the athlete's own threshold.
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
from scipy.stats import beta

from slackwater.fitting import Athlete
from slackwater.fitting.answers.washout import washout
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.model.errors import NoAnswerError
from slackwater.model.priors import LN_2, Belief, Priors, around
from slackwater.model.season import DAY
from slackwater.model.simulator import Impulse, Simulated, Truth, plan_season, simulate

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "washout.md"
REST: Final = 14
TRAINED: Final = 42
TIRED: Final = Priors(start_dip=around(0.3, 0.5), start_rate=around(LN_2 / 5, 0.4))
TYPES: Final = ("steady row", "row intervals", "hill run")


class Promise(NamedTuple):
    """One answer against the truth: the day promised, its chance, and whether it held."""

    days: int
    chance: float
    held: bool


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold promised days of rest against the truth.")
    parser.add_argument(
        "--rested", type=int, default=250, help="seasons of rest alone, of each kind"
    )
    parser.add_argument("--trained", type=int, default=90, help="seasons of rest and training")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    asked = (
        ("on the last morning of the first rest", 0, options.rested, Priors()),
        ("the same, of athletes who start very tired", 0, options.rested, TIRED),
        ("after six weeks of training", TRAINED, options.trained, Priors()),
    )
    lines = []
    for kind, (when, trained, count, priors) in enumerate(asked):
        rngs = [np.random.default_rng([8, kind, seed]) for seed in range(count)]
        lines.append(_row(when, [_ask(rng, trained, priors) for rng in rngs]))
    page = _page(lines, options.rested, options.trained)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _ask(rng: np.random.Generator, trained: int, priors: Priors) -> Promise | None:
    """Return what was promised on one season and whether it held; None without an answer."""
    nights = REST + trained
    truth, whole = _season(rng, nights, priors)
    season = whole.season.through(whole.season.first_night + DAY * (nights - 1))
    try:
        athlete = Athlete(season, fit(season, priors=priors, cores=1))
        answer = washout(athlete, days=FARTHEST, chance=0.9)
    except NoAnswerError:
        return None
    days = answer.further_rest_days
    if days is None:
        return None
    chances = [answer.chance_at_baseline, *answer.coming["chance_at_baseline"].values]
    dip = whole.dip[nights - 1 + days]
    return Promise(days, float(chances[days]), bool(dip <= 0.5 * truth.noise_sd))


def _season(rng: np.random.Generator, nights: int, priors: Priors) -> tuple[Truth, Simulated]:
    """Draw an athlete, and a season of that many nights with rest before and after."""
    days = pd.date_range("2031-01-01", periods=nights + FARTHEST).to_numpy()
    rows: list[tuple[Any, ...]] = []
    day = REST
    while day < nights - 1:
        rows.append((days[day], str(rng.choice(TYPES))))
        day += int(rng.choice([1, 2, 3]))
    sessions = pd.DataFrame(rows, columns=["date", "type"])
    plan = plan_season("drawn", pd.DataFrame({"date": days}), sessions)
    truth = _athlete(rng, priors)
    return truth, simulate(truth, plan, rng)


def _athlete(rng: np.random.Generator, p: Priors) -> Truth:
    def normal(belief: Belief) -> float:
        return float(belief.mean + belief.sd * rng.standard_normal())

    def positive(belief: Belief) -> float:
        return float(np.exp(normal(belief)))

    dip, dip_sd = normal(p.type_dip), positive(p.type_dip_sd)
    rate, rate_sd = normal(p.type_rate), positive(p.type_rate_sd)
    types = {
        label: Impulse(
            float(np.exp(dip + dip_sd * rng.standard_normal())),
            float(LN_2 / np.exp(rate + rate_sd * rng.standard_normal())),
        )
        for label in TYPES
    }
    return Truth(
        baseline_ms=positive(p.baseline),
        types=types,
        start=Impulse(positive(p.start_dip), LN_2 / positive(p.start_rate)),
        noise_sd=positive(p.noise_sd),
        noise_tail=positive(p.noise_tail),
        drift_sd=positive(p.drift_sd),
        session_sd=positive(p.session_sd),
        first_night=positive(p.first_night),
    )


def _row(when: str, found: list[Promise | None]) -> str:
    answered = [promise for promise in found if promise is not None]
    ahead = [promise for promise in answered if promise.days]
    count, held = len(ahead), sum(p.held for p in ahead)
    low, high = float(beta.ppf(0.025, held, count - held + 1)), 1.0
    if held < count:
        high = float(beta.ppf(0.975, held + 1, count - held))
    chance = np.mean([p.chance for p in ahead])
    days = np.median([p.days for p in ahead])
    today = [p for p in answered if not p.days]
    sure = f"{np.mean([p.held for p in today]):.0%} of {len(today)}" if today else "none"
    shown = f"{len(found)} | {len(found) - len(answered)} | {len(ahead)} | {days:.0f}"
    truly = f"{held / count:.0%} ({low:.0%} to {high:.0%})"
    return f"| {when} | {shown} | {chance:.0%} | {truly} | {sure} |"


def _page(lines: list[str], rested: int, trained: int) -> str:
    head = (
        "asked",
        "seasons",
        "no answer",
        "a day ahead promised",
        "median days",
        "chance given for that day",
        "truly at baseline on it",
        "truly at baseline where today was promised",
    )
    table = "\n".join([f"| {' | '.join(head)} |", f"| {' | '.join('---' for _ in head)} |", *lines])
    return f"""# Does the promised day of rest hold?

Written by `python -m tests.studies.washout --rested {rested} --trained {trained}`.

`slackwater washout` promises the first day of complete rest on which the chance of being at
baseline is the one asked for; here 90 % were. That is held against the truth on seasons from the
model's own simulator, each athlete drawn from the priors; each season begins with two weeks of
rest. *Truly at baseline*: the simulated dip lies under half of the athlete's true night-to-night
standard deviation. The chance given for the promised day is a little over 90 %, since days are
whole. Ranges are 95 % Clopper-Pearson intervals. Athletes *who start very tired* have an unlogged
dip of about 26 % with a half-life of about five days at the start, and a fit that expects it.

{table.replace("%", " %")}

This is the model's promise about athletes like those the model describes. How it fares where it is
wrong about them is in [measured.md](measured.md).
"""


if __name__ == "__main__":
    main()
