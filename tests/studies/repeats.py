"""How wide `repeats` expects a range to be after more sessions, against new fits.

    python -m tests.studies.repeats [--seasons 15]

Takes about five minutes on one core. Writes docs/calibration/repeats.md.

A season from the generator is fitted. One posterior draw is then taken for the truth, its
season goes on with undisturbed sessions of one type, and the longer season is fitted anew:
the width found is held against the width expected from the first fit alone, the share of
the new sessions that was back by the proposed day against the chance promised before them,
and what the new fit says of each new session against its true days.
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

from slackwater.fitting import Athlete
from slackwater.fitting.answers.recovery import next_session_days, recovery
from slackwater.fitting.repeating.more_sessions import NIGHTS, interval_width
from slackwater.fitting.repeating.narrowing import type_draws, widths_after
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model import paths
from slackwater.model.season import DAY, Season
from tests.studies.generator import TYPES, make
from tests.studies.kinds import MEDIANS

PAGE = Path(__file__).parents[2] / "docs" / "calibration" / "repeats.md"
MORE = (4, 16, 48)
FIRST_NIGHTS = 112
LEVEL = 0.8
PROMISE = 0.8  # the chance whose day is held against later sessions


class Case(NamedTuple):
    """One season gone on with more sessions of one type.

    Attributes:
        seed: the season's.
        label: the type.
        more: how many sessions more.
        before: width of the range of typical days before them.
        expected: width expected after them, from the first fit.
        found: width after them, from the new fit.
        promised: chance of being back by the proposed day, from the first fit.
        back: share of the new sessions that truly was.
        covered: share of their true days that the new fit's own ranges held.
    """

    seed: int
    label: str
    more: int
    before: float
    expected: float
    found: float
    promised: float
    back: float
    covered: float


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Hold expected widths against new fits.")
    parser.add_argument("--seasons", type=int, default=15)
    options = parser.parse_args()
    rows = []
    for seed in range(options.seasons):
        rows += _season(seed)
        sys.stderr.write(f"{seed + 1} of {options.seasons}\n")
    page = _page(rows, options.seasons)
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _season(seed: int) -> list[Case]:
    rng = np.random.default_rng([73, seed])
    season = Season.from_tables("made", **make("as modelled", seed, FIRST_NIGHTS, MEDIANS).tables)
    athlete = Athlete(season, fit(season, seed=seed, cores=1))
    now = athlete.now
    label = list(TYPES)[seed % len(TYPES)]
    known = type_draws(now, label)
    before = interval_width(known, LEVEL)
    expected = widths_after(now, label, known, MORE, LEVEL, np.random.default_rng([74, seed]))
    draw = int(rng.integers(len(now.threshold)))
    promise = recovery(athlete, LEVEL).types.sel({n.TYPE: label})
    proposed = float(promise["days_for_chance"].sel(chance=PROMISE))
    promised = float((next_session_days(now)[:, now.types.index(label)] <= proposed).mean())
    rows = []
    for more, width in expected.items():
        longer, days = _longer(now, draw, label, more, rng)
        again = Athlete(longer, fit(longer, seed=seed, cores=1))
        found = interval_width(type_draws(again.now, label), LEVEL)
        own = again.own_recovery.days[:, -more:]
        low, high = np.quantile(own, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
        covered = ((low <= days + 1e-9) & (days - 1e-9 <= high)).mean()
        back = float((days <= proposed).mean())
        case = (before, width, found, promised, back, float(covered))
        rows.append(Case(seed, label, more, *case))
    return rows


def _longer(
    now: Standing, draw: int, label: str, more: int, rng: np.random.Generator
) -> tuple[Season, np.ndarray]:
    """Return the season gone on, as one draw has it, with undisturbed sessions of a type.

    And the true days until each of them was back.

    Plain loops over nights, apart from the dynamics that the expectation is made with.
    """

    def value(name: str) -> Any:
        return now.parameter(name)[draw]

    which = now.groups.index(label)
    rate = float(now.rates[draw, which])
    share = float(value(n.FIRST_NIGHT))
    typical = float(np.exp(now.log_dips()[draw, now.types.index(label)]))
    level, passing = now.level_draws[:, draw]
    motion = paths.motion(now.draws)
    kept, spread = motion.persistence[draw], np.sqrt(motion.transient_variance[draw])
    dips = now.dips[draw].copy()
    nights = NIGHTS * (more + 1)  # one week of rest, then a session each week
    days, readings, true_days = [], [], []
    for night in range(1, nights + 1):
        dips *= np.exp(-now.rates[draw])
        hidden = 0.0
        if night > NIGHTS and (night - 1) % NIGHTS == 0:
            dip = typical * np.exp(value(n.SESSION_SD) * rng.standard_normal())
            dips[which] += dip
            hidden = (1 - share) * dip
            days.append(now.night + DAY * (night - 1))
            true_days.append(1 + max(0.0, np.log(dip / now.threshold[draw]) / rate))
        level += value(n.DRIFT_SD) * rng.standard_normal()
        passing = kept * passing + np.sqrt(1 - kept**2) * spread * rng.standard_normal()
        own = value(n.NOISE_SD) ** 2 - spread**2
        noise = np.sqrt(own) * np.exp(value(n.NOISE_TAIL) * rng.standard_normal() / 2)
        readings.append(level + passing - dips.sum() + hidden + noise * rng.standard_normal())
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
    return Season.from_tables("made", **tables), np.array(true_days)


def _mean(rows: list[Case], name: str) -> str:
    values = np.array([getattr(row, name) for row in rows])
    return f"{values.mean():.2f} ± {values.std(ddof=1) / np.sqrt(len(values)):.2f}"


def _page(rows: list[Case], seasons: int) -> str:
    lines = []
    for more in MORE:
        chosen = [row for row in rows if row.more == more]
        ratio = np.array([row.found / row.expected for row in chosen])
        error = ratio.std(ddof=1) / np.sqrt(len(ratio))
        means = [np.mean([getattr(r, k) for r in chosen]) for k in ("before", "expected", "found")]
        cells = [str(more), *(f"{mean:.2f}" for mean in means)]
        cells += [f"{ratio.mean():.2f} ± {error:.2f}", f"{ratio.std(ddof=1):.2f}"]
        cells += [_mean(chosen, "promised"), _mean(chosen, "back"), _mean(chosen, "covered")]
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

| more sessions | before | expected | found | found over expected | its SD | promised | back | own \
days covered |
| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |
{table}

- Means over seasons, ± their standard error.
- The width expected is of a mean: any one season's range comes out narrower or wider, by the SD \
of found over expected.
- *Promised*: the chance of being back by the proposed day (4 in 5), from the first fit. *Back*: \
the share of the new sessions that truly was by then.
- *Own days covered*: the share of the new sessions whose true days lie in the {LEVEL:.0%} range \
that the new fit gives of each.

| season | type | more sessions | before | expected | found |
| ---: | --- | ---: | ---: | ---: | ---: |
{each}
"""


if __name__ == "__main__":
    main()
