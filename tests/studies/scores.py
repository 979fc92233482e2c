"""Followed seasons and verdicts → rows of their tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.studies.bootstrap import ratio_over, share_over

Rows = list[dict[str, Any]]
PEERS = ("mean of 7 nights", "local level", "local level, session lags")
VERDICTS = ("faster", "slower", "no meaningful difference", "undecided")


def score_row(kind: str, horizon: int, followed: Rows) -> dict[str, Any]:
    """Return how often forecasts held, and each forecaster's mean CRPS over the oracle's."""
    seasons = [[f for f in row["forecasts"] if f["horizon"] == horizon] for row in followed]
    out: dict[str, Any] = {
        "kind": kind,
        "nights_ahead": horizon,
        "seasons": len(followed),
        "forecasts": sum(map(len, seasons)),
        "held": share_over([[f["cover"] for f in season] for season in seasons]),
        "slackwater": ratio_over([_sums(season, "slackwater") for season in seasons]),
    }
    for name in PEERS:
        above, below = np.sum([_sums(season, name) for season in seasons], axis=0)
        out[name] = float(above / below)
    out["new_fits_asked_for"] = float(np.mean([row["refits"] for row in followed]))
    return out


def _sums(forecasts: Rows, name: str) -> tuple[float, float]:
    own, best = (sum(f["crps"][who] for f in forecasts) for who in (name, "oracle"))
    return own, best


def verdict_row(kind: str, nights: int, decided: Rows) -> dict[str, Any]:
    """Return how often each verdict was given on seasons of one length."""
    chosen = [row for row in decided if row["kind"] == kind and row["nights"] == nights]
    verdicts = [row["verdict"] for row in chosen]
    return {
        "kind": kind,
        "sessions_per_arm": round(float(np.median([row["per_arm"] for row in chosen]))),
        "seasons": len(chosen),
        **{name: verdicts.count(name) for name in VERDICTS},
        "covered": share_over([[row["cover"]] for row in chosen]),
        "width": float(np.mean([row["width"] for row in chosen])),
    }


def fit_facts(fits: Sequence[dict[str, float]], caught: Rows) -> dict[str, Any]:
    """Return how many fits were clean, and how far answers without a new fit lay from its."""
    facts = {
        "fits": len(fits),
        "clean": sum(fit["divergences"] == 0 for fit in fits),
        "usable": sum(fit["rhat"] <= 1.05 and fit["ess"] >= 100 for fit in fits),
        "ess": float(np.median([fit["ess"] for fit in fits])),
        "catch_ups": len(caught),
    }
    if not caught:
        return facts
    apart = [d for row in caught for values in row["apart"].values() for d in values]
    return facts | {
        "apart_mean": float(np.mean(apart)),
        "apart_most": float(np.quantile(apart, 0.95)),
        "catch_up_seconds": float(np.max([row["seconds"] for row in caught if not row["refused"]])),
        "catch_up_refused": sum(bool(row["refused"]) for row in caught),
    }
