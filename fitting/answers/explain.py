"""What a night's reading is made of: baseline, what is left of each dip, sensor and noise."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.sampling.last_night import noise_variance
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.past import SESSION, STRESSOR, Past, past_of
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import QuestionError

PART: Final = "part"
SENSOR: Final = "sensor"
NOISE: Final = "noise"
OLDER: Final = {SESSION: "older sessions", STRESSOR: "older stressors"}
NEGLIGIBLE: Final = 0.01  # ln, so 1 %
NEGLIGIBLE_CHANCE: Final = 0.9
SHARE_RULE: Final = (
    "baseline and all shares add up to the reading, in ln and in ms, in each draw; a share in ms "
    "is its share in ln times the logarithmic mean of baseline and reading, which is what makes "
    "them add up without an order"
)
OLDER_RULE: Final = (
    "sessions and stressors with less than 1 % left, at a chance of at least 90 %, are summed"
)


class Part(NamedTuple):
    """One part of a reading.

    Attributes:
        kind: "session", "stressor", "start", "sensor" or "noise".
        label: session type, stressor, sensor, or what it is.
        date: the day it is logged under, ISO; empty where there is none.
        share: what it adds to the reading, ln, shape (S,); dips are below 0.
    """

    kind: str
    label: str
    date: str
    share: Floats


def explain(
    now: Standing,
    posterior: Posterior,
    night: np.datetime64 | None = None,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer what a night's reading is made of.

    Baseline and dips are judged by all readings, those of later nights included.

    Args:
        now: the state, from `standing`.
        posterior: what it was made from.
        night: the date of the morning; that of the last reading if left out.
        level: credible mass of every interval.

    Returns:
        `reading_rmssd_ms` (NaN where the night was not read); with `bound`: `baseline_rmssd_ms`
        (on the scale of the latest sensor fitted), `expected_rmssd_ms` (the reading without its
        noise), `under_baseline_percent` (of the reading, or of what was expected where there is
        none); `noise_chance`, how often a night's noise is at least as large, up or down (NaN
        where not read). Dimension `part`, in order of size and the noise last: `part_kind`,
        `part_label`, `part_date`, `share_ln` and `share_ms` (with `bound`; below 0 for what
        lowers the reading). Attributes `night`, `share_rule`, `older_rule`.

    Raises:
        QuestionError: the night lies outside the readings.
    """
    check_level(level)
    past = past_of(now, posterior)
    at = _index(past, now.night if night is None else night)
    parts = parts_of(past, at)
    baseline = past.level[:, at]
    expected = baseline + sum(part.share for part in parts if part.kind != NOISE)
    reading = past.readings[at]
    read = bool(np.isfinite(reading))
    end = np.full(len(baseline), reading) if read else expected
    per_ln = logarithmic_mean(np.exp(baseline), np.exp(end))
    shares = np.stack([part.share for part in parts], axis=1)
    data = xr.Dataset(
        {
            "reading_rmssd_ms": np.exp(reading),
            "baseline_rmssd_ms": interval(np.exp(baseline), level),
            "expected_rmssd_ms": interval(np.exp(expected), level),
            "under_baseline_percent": interval(-100 * np.expm1(end - baseline), level),
            "noise_chance": _noise_chance(past, parts[-1].share) if read else np.nan,
            "part_kind": (PART, [part.kind for part in parts]),
            "part_label": (PART, [part.label for part in parts]),
            "part_date": (PART, [part.date for part in parts]),
            "share_ln": interval(shares, level, (PART,)),
            "share_ms": interval(shares * per_ln[:, None], level, (PART,)),
        }
    )
    return answer(
        data,
        "explain",
        now,
        level,
        [],
        night=str(past.season.nights[at]),
        share_rule=SHARE_RULE,
        older_rule=OLDER_RULE,
    )


def parts_of(past: Past, at: int) -> list[Part]:
    """Return all parts of a night but baseline, in order of size, the noise last.

    With baseline they add up to the reading in each draw, or to what was expected where there
    is none.
    """
    parts = _dips(past, at)
    sensor = past.season.sensors[int(past.season.data[n.NIGHT_SENSOR].values[at])]
    if past.shift[:, at].any():
        parts.append(Part(SENSOR, sensor, "", past.shift[:, at]))
    parts.sort(key=lambda part: -abs(float(np.median(part.share))))
    reading = past.readings[at]
    if np.isfinite(reading):
        known = past.level[:, at] + sum(part.share for part in parts)
        parts.append(Part(NOISE, NOISE, "", reading - known))
    return parts


def logarithmic_mean(a: Floats, b: Floats) -> Floats:
    """Return (b - a) / ln(b / a), and a where the two are equal; both above 0."""
    log_ratio = np.log(b / a)
    near = np.abs(log_ratio) < 1e-6  # where rounding is worse than the series' second term
    return np.where(near, (a + b) / 2, (b - a) / np.where(near, 1.0, log_ratio))


def _index(past: Past, night: np.datetime64) -> int:
    nights = past.season.nights
    if not nights[0] <= night <= nights[-1]:
        raise QuestionError(
            f"{night} lies outside the readings; give a night from {nights[0]} to {nights[-1]}. "
            "For nights to come, ask slackwater forecast."
        )
    return int(np.searchsorted(nights, night))


def _dips(past: Past, at: int) -> list[Part]:
    left = past.shown_on(at)
    small = (left < NEGLIGIBLE).mean(axis=0) >= NEGLIGIBLE_CHANCE
    parts: list[Part] = []
    older: dict[str, list[int]] = {}
    for event in np.flatnonzero(past.felt_on <= at):
        felt = past.events[event]
        if felt.kind in OLDER and small[event]:
            older.setdefault(felt.kind, []).append(int(event))
        else:
            parts.append(Part(felt.kind, felt.label, felt.date, -left[:, event]))
    for kind, which in older.items():
        parts.append(Part(kind, OLDER[kind], "", -left[:, which].sum(axis=1)))
    return parts


def _noise_chance(past: Past, noise: Floats) -> float:
    """Return the chance that a night's noise is at least as large, up or down.

    Over the draws, and over the night's own scale on Gauss-Hermite nodes.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    sd = np.sqrt(noise_variance(past.draws, nodes[None, :]))
    beyond = np.abs(noise)[:, None] / (sd * math.sqrt(2.0))
    chance = np.vectorize(math.erfc)(beyond) @ (weights / weights.sum())
    return float(chance.mean())
