"""How far the answers can be trusted, measured on seasons whose truth is known.

    python -m tests.studies.calibration [--seasons 20] [--followed 20] [--drawn 300] [--deciding 40]

Takes about two hours on two cores; resumes where it was stopped. Writes the page, tables
and pictures in docs/calibration/. Needs the extra `studies`.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: the pool fills the cores
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta

from tests.studies import pictures
from tests.studies.generator import KINDS
from tests.studies.judging import catch_up, decide, follow, judge
from tests.studies.pool import run_all
from tests.studies.ranks import rank

PAGES = Path(__file__).parents[2] / "docs" / "calibration"
MEASURED = [kind for kind in KINDS if kind.startswith("a measure")]
SEASON_LENGTHS = (84, 168, 252)
PEERS = ("mean of 7 nights", "local level", "local level, session lags")
Rows = list[dict[str, Any]]


def main() -> None:
    """Run every study, then write the tables, pictures and the page."""
    parser = argparse.ArgumentParser(description="Measure how far the answers can be trusted.")
    parser.add_argument("--seasons", type=int, default=20, help="seasons of each kind")
    parser.add_argument("--followed", type=int, default=20, help="of them, forecasts followed")
    parser.add_argument("--drawn", type=int, default=300, help="seasons drawn from the priors")
    parser.add_argument("--deciding", type=int, default=40, help="seasons for each verdict")
    options = parser.parse_args()
    drawn = run_all("rank", rank, [(seed,) for seed in range(options.drawn)])
    seasons = [(kind, seed) for seed in range(options.seasons) for kind in KINDS]
    judged = run_all("judge", judge, seasons)
    followed = run_all("follow", follow, [s for s in seasons if s[1] < options.followed])
    deciding = [
        (kind, nights, 1000 + seed)
        for seed in range(options.deciding)
        for nights in SEASON_LENGTHS
        for kind in MEASURED
    ]
    decided = run_all("decide", decide, deciding)
    caught = run_all("catch_up", catch_up, [(seed,) for seed in range(20)])
    PAGES.mkdir(parents=True, exist_ok=True)
    coverage = [_coverage_row(kind, _of(judged, kind), _of(followed, kind)) for kind in KINDS]
    scores = [_score_row(kind, h, _of(followed, kind)) for kind in KINDS for h in (1, 7)]
    verdicts = [
        _verdict_row(kind, nights, [d for d in decided if d["nights"] == nights])
        for kind in MEASURED
        for nights in SEASON_LENGTHS
    ]
    ranks = {name: [d["ranks"][name] for d in drawn] for name in drawn[0]["ranks"]}
    outside = pictures.draw_ranks(ranks, PAGES / "ranks.png")
    pictures.draw_coverage(coverage, PAGES / "coverage.png")
    pictures.draw_scores(scores, PAGES / "scores.png")
    for name, rows in (("coverage", coverage), ("scores", scores), ("verdicts", verdicts)):
        _write_table(PAGES / f"{name}.csv", rows)
    fits = [r["fit"] for r in [*judged, *decided]] + [f for r in followed for f in r["fits"]]
    facts = _facts(options, fits, drawn, ranks, outside, caught)
    page = _page(coverage, scores, verdicts, facts)
    (PAGES / "measured.md").write_text(page, encoding="utf-8")
    sys.stdout.write(page)


def _of(rows: Rows, kind: str) -> Rows:
    return [row for row in rows if row["kind"] == kind]


def share(hits: Iterable[float]) -> tuple[float, float, float]:
    """Return a share and its 95 % Clopper-Pearson interval."""
    values = list(hits)
    k, count = round(sum(values)), len(values)
    low = float(beta.ppf(0.025, k, count - k + 1)) if k else 0.0
    high = float(beta.ppf(0.975, k + 1, count - k)) if k < count else 1.0
    return k / count, low, high


def _coverage_row(kind: str, rows: Rows, followed: Rows) -> dict[str, Any]:
    types = [t for row in rows for t in row["types"]]
    forecasts = [f for row in followed for f in row["forecasts"]]
    out: dict[str, Any] = {"kind": kind, "seasons": len(rows)}
    for name in ("typical", "next"):
        out[name], out[f"{name}_low"], out[f"{name}_high"] = share(t[name]["cover"] for t in types)
    out["typical_width_days"] = float(np.mean([t["typical"]["width"] for t in types]))
    out["typical_bias_days"] = float(np.mean([t["typical"]["error"] for t in types]))
    out["baseline"] = share(row["baseline"]["cover"] for row in rows)[0]
    for horizon in (1, 7):
        hits = [f["cover"] for f in forecasts if f["horizon"] == horizon]
        out[f"forecast_{horizon}"] = share(hits)[0]
    ratios = [row["ratio"] for row in rows if row["ratio"]]
    out["rate_ratio"] = share(r["cover"] for r in ratios)[0] if ratios else ""
    out["refits_a_season"] = float(np.mean([row["refits"] for row in followed]))
    return out


def _score_row(kind: str, horizon: int, rows: Rows) -> dict[str, Any]:
    forecasts = [f for row in rows for f in row["forecasts"] if f["horizon"] == horizon]
    out: dict[str, Any] = {"kind": kind, "nights_ahead": horizon, "forecasts": len(forecasts)}
    for score in ("crps", "logs"):
        mean = {
            name: float(np.mean([f[score][name] for f in forecasts]))
            for name in ("slackwater", "oracle", *PEERS)
        }
        for name in ("slackwater", *PEERS):
            relative = mean[name] / mean["oracle"] if score == "crps" else mean[name]
            out[f"{score} {name}"] = relative
        if score == "logs":
            out["logs oracle"] = mean["oracle"]
    return out


def _verdict_row(kind: str, nights: int, rows: Rows) -> dict[str, Any]:
    chosen = _of(rows, kind)
    verdicts = [row["verdict"] for row in chosen]
    names = ("faster", "slower", "no meaningful difference", "undecided")
    return {
        "kind": kind,
        "sessions_per_arm": round(float(np.median([row["per_arm"] for row in chosen]))),
        "seasons": len(chosen),
        **{name: verdicts.count(name) for name in names},
        "covered": share(row["cover"] for row in chosen)[0],
        "width": float(np.mean([row["width"] for row in chosen])),
    }


def _facts(
    options: argparse.Namespace,
    fits: Rows,
    drawn: Rows,
    ranks: dict[str, list[float]],
    outside: dict[str, list[str]],
    caught: Rows,
) -> dict[str, Any]:
    apart = [d for c in caught for values in c["apart"].values() for d in values]
    return {
        "options": options,
        "fits": len(fits) + len(drawn),
        "clean": sum(f["divergences"] == 0 for f in [*fits, *drawn]),
        "converged": sum(f["rhat"] <= 1.01 for f in [*fits, *drawn]),
        "quantities": len(ranks),
        "again": sum(d.get("again", 0) > 0 for d in drawn),
        "outside": outside,
        "apart_mean": float(np.mean(apart)),
        "apart_most": float(np.quantile(apart, 0.95)),
        "catch_up_seconds": float(np.max([c["seconds"] for c in caught if not c["refused"]])),
        "catch_up_refused": sum(bool(c["refused"]) for c in caught),
    }


def _write_table(path: Path, rows: Rows) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows({k: _short(v) for k, v in row.items()} for row in rows)


def _short(value: Any) -> Any:
    return f"{value:.3f}" if isinstance(value, float) else value


def _table(rows: Rows, columns: Sequence[str], heads: Sequence[str]) -> str:
    lines = ["| " + " | ".join(heads) + " |", "| --- " + "| ---: " * (len(heads) - 1) + "|"]
    for row in rows:
        cells = [f"{row[c]:.2f}" if isinstance(row[c], float) else str(row[c]) for c in columns]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _page(coverage: Rows, scores: Rows, verdicts: Rows, facts: dict[str, Any]) -> str:
    options = facts["options"]
    outside = facts["outside"]
    coverage_columns = [
        "kind", "typical", "typical_width_days", "typical_bias_days", "next", "baseline",
        "forecast_1", "forecast_7", "rate_ratio", "refits_a_season",
    ]  # fmt: skip
    coverage_heads = [
        "kind of season", "typical days", "width, days", "bias, days", "next session", "baseline",
        "reading, 1 night", "reading, 7 nights", "rate ratio", "new fits asked for",
    ]  # fmt: skip
    score_columns = ["kind", "nights_ahead", *(f"crps {p}" for p in ("slackwater", *PEERS))]
    log_columns = ["kind", "nights_ahead", *(f"logs {p}" for p in ("oracle", "slackwater", *PEERS))]
    verdict_columns = [
        "kind", "sessions_per_arm", "seasons", "faster", "slower", "no meaningful difference",
        "undecided", "covered", "width",
    ]  # fmt: skip
    return f"""# Measured

Written by `python -m tests.studies.calibration --seasons {options.seasons} --drawn \
{options.drawn} --deciding {options.deciding} --followed {options.followed}`. \
[What it means](README.md).

## Coverage of 80 % intervals

{options.seasons} seasons of each kind, made by a generator that shares no code with slackwater \
(`tests/studies/generator.py`). The share of intervals that held the truth; the aim is 0.80. Bias \
is the mean of median minus truth.

{_table(coverage, coverage_columns, coverage_heads)}

![Coverage by kind of season](coverage.png)

## Forecasts against peers

From every second morning of the last 8 weeks of {options.followed} seasons of each kind, knowing \
the log but no later reading. Mean CRPS over the \
oracle's, which knows every parameter and every dip, and lacks only the baseline and the noise to \
come; lower is better, 1 is the best possible.

{_table(scores, score_columns, ["kind of season", "nights ahead", "slackwater", *PEERS])}

![CRPS by kind of season](scores.png)

The logarithmic score (minus the log density of the reading; lower is better):

{_table(scores, log_columns, ["kind of season", "nights ahead", "oracle", "slackwater", *PEERS])}

## Verdicts on a measure

Seasons of 12, 24 and 36 weeks with the measure used in half of the weeks, drawn at random.

{_table(verdicts, verdict_columns, ["kind", "sessions per arm", *verdict_columns[2:]])}

## Ranks of the truth

{options.drawn} seasons drawn from the priors (Talts et al. 2018). Of {facts["quantities"]} \
quantities, {len(outside["each"])} leave their own simultaneous 95 % band (Säilynoja, Bürkner & \
Vehtari 2022), where {0.05 * facts["quantities"]:.1f} are expected of a perfect sampler: \
{", ".join(outside["each"]) or "none"}. Outside the band that holds for all quantities together: \
{", ".join(outside["all"]) or "none"}.

![Ranks: difference of the empirical distribution from the uniform](ranks.png)

## Fits and new mornings

- {facts["clean"]} of {facts["fits"]} fits had no divergence; {facts["converged"]} had R-hat 1.01 \
or less for every parameter. {facts["again"]} of the {options.drawn} seasons drawn from the priors \
were fitted again, since slackwater would not have answered from the first fit.
- Answers after 7 new mornings without a new fit, against a new fit: medians \
{facts["apart_mean"]:.3f} posterior standard deviations apart in the mean, \
{facts["apart_most"]:.3f} at the 95th percentile, in at most {facts["catch_up_seconds"]:.2f} s; a \
new fit was asked for in {facts["catch_up_refused"]} of 20 seasons.
"""


if __name__ == "__main__":
    main()
