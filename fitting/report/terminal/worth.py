"""What a fit is worth, as terminal text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import xarray as xr
from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.report.terminal.pieces import heading_of, json_interval, json_number
from slackwater.model import names as n


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, f"What the fit up to {facts['last_night']} is worth")
    for sentence in facts["sentences"]:
        yield Text(f"  {sentence}")
    yield Text(f"How readings are foretold: {facts['rule']}. Last nights: {facts['recent_rule']}.")


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    facts = answer.attrs
    counts = ("divergences", "draws")
    numbers = ("rhat_max", "ess_bulk_min", "ess_tail_min", "ess_min")
    errors = ("mean_error_ms", "mean_error_of_recent_ms")
    return {
        "sentences": facts["sentences"],
        **{key: int(answer[key]) for key in counts},
        **{key: json_number(answer[key]) for key in numbers},
        "judged": int(answer["judged"]),
        "share_inside": float(answer["share_inside"]),
        "share_by_chance": json_interval(answer["share_by_chance"]),
        "compared": int(answer["compared"]),
        **{key: json_number(answer[key]) for key in errors},
        "rule": facts["rule"],
        "recent_rule": facts["recent_rule"],
        "nights": [_night(answer.isel({n.NIGHT: i})) for i in range(answer.sizes[n.NIGHT])],
    }


def _night(row: xr.Dataset) -> dict[str, Any]:
    return {
        "date": str(row[n.NIGHT].values)[:10],
        "rmssd_ms": float(row["rmssd_ms"]),
        "foretold_ms": json_interval(row["foretold"]),
        "inside": bool(row["inside"]),
        "recent_mean_ms": json_number(row["recent_mean_ms"]),
    }
