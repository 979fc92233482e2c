"""An answer as one JSON object."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Final

import xarray as xr

from slackwater.fitting.report.terminal import (
    course,
    elements,
    explain,
    history,
    repeats,
    spacing,
    trial,
    trial_results,
    washout,
    worth,
)
from slackwater.fitting.report.terminal.pieces import Json, json_interval, json_number, json_whole
from slackwater.model import names as n


def as_json(answer: xr.Dataset) -> str:
    """Return an answer as the text of one JSON object, in ASCII, as any pipe can carry it."""
    return json.dumps(as_object(answer), indent=2, allow_nan=False)


def as_object(answer: xr.Dataset) -> Json:
    """Return an answer as plain Python objects, numbers unrounded, None where unknown."""
    facts = answer.attrs
    shared = ("schema", "season", "last_night", "level", "warnings")
    step = {"next": facts["next"]._asdict()} if "next" in facts else {}
    return {key: facts[key] for key in shared} | _BODIES[facts["question"]](answer) | step


def _recovery(answer: xr.Dataset) -> Json:
    return {
        "threshold": {
            "ln_units": json_number(answer["threshold_ln"]),
            "percent": json_number(answer["threshold_percent"]),
            "rule": answer.attrs["threshold_rule"],
        },
        "types": [_type(answer.sel({n.TYPE: name})) for name in answer[n.TYPE].values],
        "refused": [{"type": t, "why": why} for t, why in answer.attrs["refused"].items()],
    }


def _type(row: xr.Dataset) -> Json:
    intervals = ("dip_ln", "half_life_days", "typical_days", "next_session_days")
    chances = row["days_for_chance"]
    by_day = row["chance_by_day"]
    return {
        "type": str(row[n.TYPE].item()),
        "sessions": int(row["sessions"]),
        **{key: json_interval(row[key]) for key in intervals},
        "days_for_chance": {
            str(float(c)): json_whole(days)
            for c, days in zip(chances["chance"], chances, strict=True)
        },
        "chance_by_day": [[int(d), float(by_day.sel(day=d))] for d in by_day["day"]],
        "dip_left_by_day_ln": [
            [int(d), json_interval(row["dip_left_ln"].sel(day=d))] for d in by_day["day"]
        ],
    }


def _baseline(answer: xr.Dataset) -> Json:
    intervals = ("baseline_rmssd_ms", "dip_left_ln", "further_rest_days", "night_to_night_sd_ln")
    return {
        **{key: json_interval(answer[key]) for key in intervals},
        "chance_at_baseline": float(answer["chance_at_baseline"]),
        "plateau": {
            "flat_nights": int(answer["flat_nights"]),
            "reached": bool(answer["plateau_reached"]),
            "rule": answer.attrs["plateau_rule"],
        },
    }


def _forecast(answer: xr.Dataset) -> Json:
    return {
        "days_to_baseline": json_interval(answer["days_to_baseline"]),
        "sessions": list(answer.attrs["sessions"]),
        "nights": [
            {
                "date": str(night.values)[:10],
                **{
                    key: json_interval(answer[key].sel({n.NIGHT: night}))
                    for key in ("rmssd_ms", "state_ms")
                },
                **{
                    key: float(answer[key].sel({n.NIGHT: night}))
                    for key in ("ln_mean", "ln_sd", "chance_at_baseline")
                },
            }
            for night in answer[n.NIGHT]
        ],
    }


def _compare_intervention(answer: xr.Dataset) -> Json:
    counts = ("nights_with", "nights_without", "sessions_with", "sessions_without")
    saved = answer["days_saved"]
    return {
        "intervention": answer.attrs["intervention"],
        **{key: int(answer[key]) for key in counts},
        "rate_ratio": json_interval(answer["rate_ratio"]),
        "chance_faster": float(answer["chance_faster"]),
        "days_saved": [
            {"type": str(t), **json_interval(saved.sel({n.TYPE: t}))} for t in saved[n.TYPE].values
        ],
        "verdict": answer.attrs["verdict"],
        "verdict_rule": answer.attrs["verdict_rule"],
    }


def _difference(answer: xr.Dataset) -> Json:
    named = {key: answer.attrs[key] for key in ("attribute", "a", "b") if key in answer.attrs}
    return {
        **named,
        "difference_days": json_interval(answer["difference_days"]),
        "chance_a_slower": float(answer["chance_a_slower"]),
    }


_BODIES: Final[dict[str, Callable[[xr.Dataset], Json]]] = {
    "recovery": _recovery,
    "baseline": _baseline,
    "forecast": _forecast,
    "compare intervention": _compare_intervention,
    "compare types": _difference,
    "compare attribute": _difference,
    "washout": washout.body,
    "history": history.body,
    "repeats": repeats.body,
    "elements": elements.body,
    "explain": explain.body,
    "course": course.body,
    "worth": worth.body,
    **spacing.BODY,
    **trial.BODY,
    **trial_results.BODY,
}
