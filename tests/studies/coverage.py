"""Judged seasons → one row a kind: how often ranges held the truth, and how far off they lay."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.studies.bootstrap import Ranged, mean_over, ratio_over, share_over

Rows = list[dict[str, Any]]
ONE_DAY = 1.0 + 1e-9  # nothing recovers sooner, so a truth of one day is nearly always held


def coverage_row(kind: str, judged: Rows) -> dict[str, Any]:
    """Return what became of a kind's seasons: each measure as a mean with its range.

    Days are those of types that truly take over a day; those that take exactly one are apart.
    """
    answered = [row for row in judged if not row["refused"]]

    def days(what: str, of: str, keep: Callable[[float], bool]) -> Ranged:
        truth = {"typical": "days", "next": "next_days"}[what]
        mean = share_over if of == "cover" else mean_over
        return mean([[t[what][of] for t in row["types"] if keep(t[truth])] for row in answered])

    def held(what: str) -> Ranged:
        return mean_over([[t[what]["held"] for t in row["types"]] for row in answered])

    def foretold(what: str, key: str = "inside") -> float:
        every = [t[what] for row in answered for t in row["types"]]
        return _sum(every, key) / _sum(every, "over")

    def over(true_days: float) -> bool:
        return true_days > ONE_DAY

    def one(true_days: float) -> bool:
        return true_days <= ONE_DAY

    def coming(*horizons: int) -> Ranged:
        return share_over(
            [[c["cover"] for c in row["coming"] if c["horizon"] in horizons] for row in answered]
        )

    crps = [(_sum(row["coming"], "crps"), _sum(row["coming"], "oracle")) for row in answered]
    types = [t for row in answered for t in row["types"]]
    fits = [row["fit"] for row in judged]
    return {
        "kind": kind,
        "seasons": len(judged),
        "refused": len(judged) - len(answered),
        "typical": days("typical", "cover", over),
        "next": days("next", "cover", over),
        "typical_foretold": foretold("typical"),
        "next_foretold": foretold("next"),
        "typical_all": held("typical"),
        "next_all": held("next"),
        "typical_one_day": days("typical", "cover", one),
        "types_over_a_day": sum(over(t["days"]) for t in types),
        "types_of_one_day": sum(one(t["days"]) for t in types),
        "bias_days": days("typical", "error", over),
        "bias_foretold": foretold("typical", "expected_error"),
        "width_days": days("typical", "width", over),
        "baseline": share_over([[row["baseline"]["cover"]] for row in answered]),
        "baseline_error_ms": mean_over([[row["baseline"]["error"]] for row in answered]),
        "noise_error": mean_over([[row["noise"]["error"]] for row in answered]),
        "night_1": coming(1),
        "night_7": coming(7),
        "nights_1_to_7": coming(*range(1, 8)),
        "crps_over_oracle": ratio_over(crps),
        "flagged": share_over([[float(row["flagged"] is not None)] for row in answered]),
        "no_divergence": sum(f["divergences"] == 0 for f in fits),
        "lowest_ess": float(np.median([f["ess"] for f in fits])),
        "fit_seconds": float(np.median([f["seconds"] for f in fits])),
    }


def _sum(rows: Iterable[dict[str, float]], key: str) -> float:
    return float(sum(row[key] for row in rows))


def flat(row: dict[str, Any]) -> dict[str, str]:
    """Return a row for a CSV file: a ranged value becomes three columns."""
    out: dict[str, str] = {}
    for key, value in row.items():
        if isinstance(value, Ranged):
            bounds = zip((key, f"{key}_low", f"{key}_high"), value, strict=True)
            out |= {name: _short(bound) for name, bound in bounds}
        else:
            out[key] = _short(value)
    return out


def write_table(path: Path, rows: Rows) -> None:
    """Write rows as a CSV file, ranges in columns of their own."""
    lines = [flat(row) for row in rows]
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, lines[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(lines)


def _short(value: Any) -> str:
    if isinstance(value, float):
        return "" if np.isnan(value) else f"{value:.3f}"
    return str(value)


def table(rows: Rows, columns: dict[str, str]) -> str:
    """Return rows as a Markdown table; a ranged value shows its range.

    Args:
        rows: what to show.
        columns: the heads, by key, in order.
    """
    lines = [_line(list(columns.values())), "| --- " + "| ---: " * (len(columns) - 1) + "|"]
    return "\n".join([*lines, *(_line([_cell(row[key]) for key in columns]) for row in rows)])


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _cell(value: Any) -> str:
    if isinstance(value, Ranged):
        if np.isnan(value.value):
            return ""
        return f"{value.value:.2f} ({value.low:.2f} to {value.high:.2f})"
    if isinstance(value, float):
        return "" if np.isnan(value) else f"{value:.2f}"
    return str(value)
