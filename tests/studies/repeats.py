"""How wide `repeats` expects a range to be after more sessions, against new fits.

    python -m tests.studies.repeats [--seasons 12]

Takes about eight minutes on one core. Writes docs/calibration/repeats.md. Needs the extra
`studies`.

A season from the generator is fitted. One posterior draw is then taken for the truth, its
season goes on with undisturbed sessions of one type, and the longer season is fitted anew:
the width found is held against the width expected from the first fit alone.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy

import argparse
import sys
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from slackwater.fitting.answers.more_sessions import NIGHTS, expected_widths, interval_width
from slackwater.fitting.answers.recovery import log_dips
from slackwater.fitting.answers.repeats import PAIRS, THINNED, type_draws
from slackwater.fitting.answers.standing import Standing, standing
from slackwater.fitting.sampling.fit import fit
from slackwater.model import names as n
from slackwater.model.season import DAY, Season
from tests.studies.generator import TYPES, make

PAGE = Path(__file__).parents[2] / "docs" / "calibration" / "repeats.md"
MORE = (4, 16, 48)
FIRST_NIGHTS = 112
LEVEL = 0.8


class Widths(NamedTuple):
    """One season and type: the width of the range before, and after more sessions."""

    seed: int
    label: str
    more: int
    before: float
    expected: float
    found: float


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold expected widths against new fits.")
    parser.add_argument("--seasons", type=int, default=12)
    options = parser.parse_args()
    rows = []
    for seed in range(options.seasons):
        rows += _season(seed)
        sys.stderr.write(f"{seed + 1} of {options.seasons}\n")
    page = _page(rows, options.seasons)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _season(seed: int) -> list[Widths]:
    rng = np.random.default_rng([73, seed])
    season = Season.from_tables("made", **make("as modelled", seed, FIRST_NIGHTS).tables)
    now = standing(season, fit(season, seed=seed, cores=1))
    label = list(TYPES)[seed % len(TYPES)]
    draws = type_draws(now, label)
    before = interval_width(draws, LEVEL)
    expected = expected_widths(draws.thinned(THINNED), MORE, PAIRS, LEVEL, rng)
    draw = int(rng.integers(len(draws.dip)))
    rows = []
    for more, width in zip(MORE, expected, strict=True):
        longer = _longer(now, draw, label, more, rng)
        again = standing(longer, fit(longer, seed=seed, cores=1))
        found = interval_width(type_draws(again, label), LEVEL)
        rows.append(Widths(seed, label, more, before, float(width), found))
    return rows


def _longer(now: Standing, draw: int, label: str, more: int, rng: np.random.Generator) -> Season:
    """Return the season gone on, as one draw has it, with undisturbed sessions of a type.

    Plain loops over nights, apart from the dynamics that the expectation is made with.
    """

    def value(name: str) -> Any:
        return now.parameter(name)[draw]

    which = now.groups.index(label)
    share = float(value(n.FIRST_NIGHT))
    typical = float(np.exp(log_dips(now)[draw, which]))
    level = now.level_mean[draw] + np.sqrt(now.level_variance[draw]) * rng.standard_normal()
    dips = now.dips[draw].copy()
    nights = NIGHTS * (more + 1)  # one week of rest, then a session each week
    days, readings = [], []
    for night in range(1, nights + 1):
        dips *= np.exp(-now.rates[draw])
        hidden = 0.0
        if night > NIGHTS and (night - 1) % NIGHTS == 0:
            dip = typical * np.exp(value(n.SESSION_SD) * rng.standard_normal())
            dips[which] += dip
            hidden = (1 - share) * dip
            days.append(now.night + DAY * (night - 1))
        level += value(n.DRIFT_SD) * rng.standard_normal()
        noise = value(n.NOISE_SD) * np.exp(value(n.NOISE_TAIL) * rng.standard_normal() / 2)
        readings.append(level - dips.sum() + hidden + noise * rng.standard_normal())
    tables = now.season.observed().tables()
    sensor = tables["readings"]["sensor"].iloc[-1]
    dates = now.night + DAY * np.arange(1, nights + 1)
    added = {
        "readings": pd.DataFrame({"date": dates, "log_rmssd": readings, "sensor": sensor}),
        "sessions": pd.DataFrame({"date": days, "type": label, "dose": 1.0}),
    }
    for name, rows in added.items():
        rows["date"] = rows["date"].astype(tables[name]["date"].dtype)
        tables[name] = pd.concat([tables[name], rows], ignore_index=True)
    return Season.from_tables("made", **tables)


def _page(rows: list[Widths], seasons: int) -> str:
    lines = []
    for more in MORE:
        chosen = [row for row in rows if row.more == more]
        ratio = np.array([row.found / row.expected for row in chosen])
        error = ratio.std(ddof=1) / np.sqrt(len(ratio))
        means = [np.mean([getattr(r, k) for r in chosen]) for k in ("before", "expected", "found")]
        cells = [str(more), *(f"{mean:.2f}" for mean in means)]
        cells += [f"{ratio.mean():.2f} ± {error:.2f}", f"{ratio.std(ddof=1):.2f}"]
        lines.append("| " + " | ".join(cells) + " |")
    each = "\n".join(
        f"| {r.seed} | {r.label} | {r.more} | {r.before:.2f} | {r.expected:.2f} | {r.found:.2f} |"
        for r in rows
    )
    table = "\n".join(lines)
    return f"""# Expected widths against new fits

Written by `python -m tests.studies.repeats --seasons {seasons}`.

`slackwater repeats` says how many more sessions of a type it takes until the range of typical \
days is narrower than one day. It reckons that from the posterior, without a new fit. Here it is \
held against new fits: {seasons} seasons of {FIRST_NIGHTS // 7} weeks from the generator, each \
gone on with undisturbed sessions of one type, a week apart, as one draw of its posterior has \
them, and fitted again. Widths are of the {LEVEL:.0%} range, in days.

| more sessions | before | expected | found | found over expected, mean ± SE | its SD |
| ---: | ---: | ---: | ---: | ---: | ---: |
{table}

The expectation is of a mean: any one season's range comes out narrower or wider, by the SD in the \
last column.

| season | type | more sessions | before | expected | found |
| ---: | --- | ---: | ---: | ---: | ---: |
{each}
"""


if __name__ == "__main__":
    main()
