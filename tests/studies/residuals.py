"""What `residuals` finds in seasons that the model describes, and in those that it does not.

    python -m tests.studies.residuals [--modelled 100] [--seasons 20] [--jobs 1]

The seasons are those of `tests.studies.calibration`, which this takes as they were judged where it
has run; resumes where it was stopped, as long as the code is the same. Writes
docs/calibration/residuals.md. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy.stats import beta

from slackwater.fitting.state.athlete import Athlete
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.asking import LOOKS, departures, learn
from tests.studies.generator import Made, make
from tests.studies.judging import judge
from tests.studies.kinds import AS_MODELLED
from tests.studies.pool import run_all

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "residuals.md"
NOISIER: Final = "later half 1.6 times as noisy"
# What departs in each kind, and so what should be found.
PLANTED: Final[Mapping[str, str]] = {
    AS_MODELLED: "",
    "sessions on fixed weekdays": "",
    "noise autocorrelation 0.2": "one night to the next",
    "noise autocorrelation 0.4": "one night to the next",
    "weekly rhythm, fixed weekdays": "weekday",
    NOISIER: "scatter",
    "doses act as a power": "dose",
    "one session in eight not logged": "low nights in a row",
    "unlogged bad nights": "far nights",
    "heavy tails, 20 % missing": "",
    "fast and slow recovery": "nights since a session",
    "deepest on the second night": "",
    "rates scatter by session": "",
    "25 % lower for 14 nights, in the middle": "low nights in a row",
    "40 % lower for 5 nights, in the middle": "low nights in a row",
}


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Measure what residuals find.")
    parser.add_argument("--modelled", type=int, default=100, help="seasons as modelled")
    parser.add_argument("--seasons", type=int, default=20, help="seasons of each other kind")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    options = parser.parse_args()
    count = dict.fromkeys(PLANTED, options.seasons) | {AS_MODELLED: options.modelled}
    tasks = [(kind, s) for kind in PLANTED if kind != NOISIER for s in range(count[kind])]
    tasks.sort(key=lambda task: task[1] / count[task[0]])  # all kinds come on alike
    judged = run_all("judge", judge, tasks, options.jobs)
    noisier = run_all(
        "noisier", look_at_noisier, [(s,) for s in range(options.seasons)], options.jobs
    )
    page = _page([*judged, *noisier], f"--modelled {options.modelled} --seasons {options.seasons}")
    PAGE.write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def look_at_noisier(seed: int) -> dict[str, Any]:
    """Return what departs in a season whose later half is noisier, as `judge` does."""
    made = make(AS_MODELLED, seed)
    _make_noisier(made)
    season = Season.from_tables("made", **made.tables)
    athlete = Athlete(season, learn(season, seed)[0])
    try:
        return {"kind": NOISIER, "refused": "", "residuals": departures(athlete)}
    except NoAnswerError as refusal:
        return {"kind": NOISIER, "refused": str(refusal)}


def _make_noisier(made: Made) -> None:
    """Let the noise of a season's later half be 1.6 times what it was."""
    expected = (made.level - made.dip + made.whole["shift"][: made.nights])[made.nights // 2 :]
    readings = made.tables["readings"]
    first = np.datetime64(readings["date"].iloc[0])
    night = ((readings["date"].to_numpy() - first) / np.timedelta64(1, "D")).astype(int)
    late = night >= made.nights // 2
    foretold = expected[night[late] - made.nights // 2]
    off = np.log(readings.loc[late, "rmssd_ms"].to_numpy()) - foretold
    readings.loc[late, "rmssd_ms"] = np.exp(foretold + 1.6 * off)


def _page(looked: list[dict[str, Any]], given: str) -> str:
    rows = [_row(kind, [r for r in looked if r["kind"] == kind]) for kind in PLANTED]
    head = ["kind of season", "seasons", "anything", *LOOKS]
    modelled = [r for r in looked if r["kind"] == AS_MODELLED and not r["refused"]]
    alarms = sum(any(r["residuals"]["departs"].values()) for r in modelled)
    low, high = _exact(alarms, len(modelled))
    return f"""# Does residuals find what is there?

Written by `python -m tests.studies.residuals {given}`.

Made seasons of 24 weeks from a generator that shares no code with slackwater \
(`tests/studies/generator.py`), each fitted and looked at. In seasons as modelled anything at all \
departed in {alarms} of {len(modelled)}: {_share(alarms, len(modelled))}, by an exact 95 % range \
{100 * low:.0f} to {100 * high:.0f} %; 5 % at most are promised, over seasons whose athletes are \
drawn from the priors. Here they are drawn from ranges wider than these.

The number of seasons in which anything departed, and what; bold is what was planted. Where \
nothing is bold, the model is to describe the kind.

{_lines(head, rows)}

Seasons as modelled: the scores of all looks of a group should be standard normal.

{_lines(["group", "scores", "mean", "standard deviation", "beyond 3"], _scores(modelled))}
"""


def _row(kind: str, looked: list[dict[str, Any]]) -> list[str]:
    told = [r for r in looked if not r["refused"]]
    anything = sum(any(r["residuals"]["departs"].values()) for r in told)
    counts = {group: sum(r["residuals"]["departs"][group] for r in told) for group in LOOKS}
    cells = [
        f"**{count}**" if group == PLANTED[kind] else str(count) for group, count in counts.items()
    ]
    return [kind, str(len(told)), str(anything), *cells]


def _scores(modelled: list[dict[str, Any]]) -> list[list[str]]:
    rows = []
    for group in LOOKS:
        scores = np.array([z for r in modelled for z in r["residuals"]["scores"][group]])
        if scores.size:
            beyond = f"{(np.abs(scores) > 3).sum()} of {scores.size}"
            mean, sd = f"{scores.mean():+.2f}", f"{scores.std():.2f}"
            rows.append([group, str(scores.size), mean, sd, beyond])
    return rows


def _exact(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % Clopper-Pearson range of a share."""
    low = float(beta.ppf(0.025, count, of - count + 1)) if count else 0.0
    high = float(beta.ppf(0.975, count + 1, of - count)) if count < of else 1.0
    return low, high


def _share(count: int, of: int) -> str:
    return f"{100 * count / of:.0f} %"


def _lines(head: list[str], rows: list[list[str]]) -> str:
    both = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in both)


if __name__ == "__main__":
    main()
