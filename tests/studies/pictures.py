"""The pictures of the calibration page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib

matplotlib.use("agg")

import matplotlib.pyplot as plt
import numpy as np
from arviz_stats.ecdf_utils import ecdf_pit

INK, BAND, MARK = "#22313f", "#c9d7e3", "#b4531f"
SERIES = {"slackwater": "o", "mean of 7 nights": "v", "local level": "s"}
SERIES["local level, session lags"] = "D"


def draw_ranks(ranks: dict[str, list[float]], path: Path) -> dict[str, list[str]]:
    """Draw each quantity's ECDF of ranks less the uniform's; return what leaves its band.

    Returns:
        `each`: quantities outside their own simultaneous 95 % band; `all`: outside the
        band that holds for all quantities together (Bonferroni).
    """
    columns = 5
    rows = -(-len(ranks) // columns)
    figure, axes = plt.subplots(rows, columns, figsize=(11, 1.7 * rows), sharex=True, sharey=True)
    outside: dict[str, list[str]] = {"each": [], "all": []}
    for axis, (name, values) in zip(axes.flat, ranks.items(), strict=False):
        for key, level in (("all", 1 - 0.05 / len(ranks)), ("each", 0.95)):
            points, ecdf, low, high = ecdf_pit(np.array(values), level, 4000)
            if np.any((ecdf < low) | (ecdf > high)):
                outside[key].append(name)
        axis.fill_between(points, low - points, high - points, color=BAND, lw=0)
        axis.plot(points, ecdf - points, color=INK, lw=1)
        axis.axhline(0, color=INK, lw=0.4)
        axis.set_title(name, fontsize=8, loc="left")
        axis.tick_params(labelsize=7)
    for axis in axes.flat[len(ranks) :]:
        axis.set_axis_off()
    figure.supxlabel("rank of the truth among the draws", fontsize=9)
    figure.supylabel("empirical less uniform", fontsize=9)
    _save(figure, path)
    return outside


def draw_coverage(rows: list[dict[str, Any]], path: Path) -> None:
    """Draw the coverage of typical and next-session days by kind, with their ranges."""
    figure, axis = plt.subplots(figsize=(8, 0.3 * len(rows) + 1.2))
    places = np.arange(len(rows))[::-1]
    for name, shift, mark, colour in (
        ("typical", 0.12, "o", INK),
        ("next", -0.12, "D", MARK),
    ):
        middle, low, high = np.array([row[name] for row in rows]).T
        label = "typical days" if name == "typical" else "next session"
        axis.errorbar(
            middle,
            places + shift,
            xerr=[middle - low, high - middle],
            fmt=mark,
            ms=4,
            color=colour,
            lw=1,
            label=label,
        )
    axis.axvline(0.8, color=INK, lw=0.8)
    axis.axvspan(0.72, 0.88, color=BAND, lw=0, zorder=0)
    axis.margins(y=0.01)
    axis.set_yticks(places, [row["kind"] for row in rows], fontsize=8)
    axis.set_xlim(0.2, 1.0)
    axis.set_xlabel("share of 80 % intervals that held the truth, with its 95 % range", fontsize=8)
    axis.legend(fontsize=8, frameon=False, loc="lower left")
    _save(figure, path)


def draw_scores(rows: list[dict[str, Any]], path: Path) -> None:
    """Draw each forecaster's CRPS over the oracle's, one night ahead, by kind."""
    chosen = [row for row in rows if row["nights_ahead"] == 1]
    figure, axis = plt.subplots(figsize=(8, 0.36 * len(chosen) + 1.2))
    places = np.arange(len(chosen))[::-1]
    for name, mark in SERIES.items():
        own = name == "slackwater"
        values = [row[name].value if own else row[name] for row in chosen]
        axis.plot(
            values,
            places,
            mark,
            ms=6 if own else 5,
            color=MARK if own else INK,
            mfc=MARK if own else "white",
            label=name,
        )
    axis.axvline(1.0, color=INK, lw=0.8)
    axis.margins(y=0.02)
    axis.set_yticks(places, [row["kind"] for row in chosen], fontsize=8)
    axis.set_xlabel("CRPS of the reading one night ahead, over the oracle's", fontsize=8)
    axis.legend(fontsize=8, frameon=False)
    _save(figure, path)


def _save(figure: Any, path: Path) -> None:
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)
