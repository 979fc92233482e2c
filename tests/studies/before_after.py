"""What a change of the model did, kind by kind, season by season.

    python -m tests.studies.before_after BEFORE.jsonl AFTER.jsonl [--apart KIND ...]

Takes two files of judged seasons as `tests.studies.calibration` and `tests.studies.quick` keep them
in `.cache/studies/`, named after the states of the code, and prints a table. Seasons that both
answer are held against one another, so that what differs is the model alone. The last line takes
all kinds together, but for those set apart.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.studies.coverage import ONE_DAY

SAMPLES = 2000
Season = dict[str, Any]
Sums = NDArray[np.float64]  # of each season: what is summed, and over how many

HEADS = (
    "kind of season", "seasons", "typical days", "next session", "bias, days", "width, days",
    "baseline", "error of night-to-night SD", "readings, 1 to 7 nights", "CRPS over oracle",
)  # fmt: skip


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Hold two states of the model side by side.")
    parser.add_argument("before", type=Path)
    parser.add_argument("after", type=Path)
    parser.add_argument("--apart", nargs="*", default=[], help="kinds left out of the last line")
    options = parser.parse_args()
    before, after = _judged(options.before), _judged(options.after)
    both = [key for key in after if key in before]
    lines = [HEADS, ("---", *["---:"] * (len(HEADS) - 1))]
    for kind in dict.fromkeys(kind for kind, _ in both):
        lines.append(_line(kind, [key for key in both if key[0] == kind], before, after))
    rest = [key for key in both if key[0] not in options.apart]
    lines.append(_line("all but those set apart", rest, before, after))
    sys.stdout.write("".join(f"| {' | '.join(cells)} |\n" for cells in lines))


def _judged(file: Path) -> dict[tuple[str, int], Season]:
    rows = [json.loads(line)["result"] for line in file.read_text(encoding="utf-8").splitlines()]
    return {(row["kind"], row["seed"]): row for row in rows if not row["refused"]}


def _line(
    kind: str,
    keys: list[tuple[str, int]],
    before: dict[tuple[str, int], Season],
    after: dict[tuple[str, int], Season],
) -> tuple[str, ...]:
    cells = [kind, str(len(keys))]
    for of in (
        _days("typical", "cover"),
        _days("next", "cover"),
        _days("typical", "error"),
        _days("typical", "width"),
        lambda season: (season["baseline"]["cover"], 1.0),
        lambda season: (season["noise"]["error"], 1.0),
        lambda season: _coming(season, "cover", None),
        lambda season: _coming(season, "crps", "oracle"),
    ):
        one, other = (np.array([of(file[key]) for key in keys]) for file in (before, after))
        cells.append(_cell(one, other))
    return tuple(cells)


def _days(what: str, of: str) -> Callable[[Season], tuple[float, float]]:
    truth = {"typical": "days", "next": "next_days"}[what]

    def summed(season: Season) -> tuple[float, float]:
        kept = [t[what][of] for t in season["types"] if t[truth] > ONE_DAY]
        return float(sum(kept)), float(len(kept))

    return summed


def _coming(season: Season, of: str, over: str | None) -> tuple[float, float]:
    nights = season["coming"]
    return sum(night[of] for night in nights), sum(night[over] if over else 1 for night in nights)


def _cell(before: Sums, after: Sums) -> str:
    """Return both means, and the range of their difference at 95 % (bootstrap over seasons)."""
    rng = np.random.default_rng(1)
    rows = rng.integers(0, len(before), (SAMPLES, len(before)))
    apart = _mean(after[rows]) - _mean(before[rows])
    low, high = np.quantile(apart, [0.025, 0.975])
    return f"{_mean(before):.2f} → {_mean(after):.2f} ({low:+.2f} to {high:+.2f})"


def _mean(sums: Sums) -> Any:
    return sums[..., 0].sum(axis=-1) / sums[..., 1].sum(axis=-1)


if __name__ == "__main__":
    main()
