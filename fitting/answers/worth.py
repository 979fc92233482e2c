"""What a fit is worth: how the sampler fared, and how well it foretells each reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about, readings_left_out
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval, intervals
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import Past
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import Reason
from slackwater.model.paths import fitted_events, noise_variance
from slackwater.model.season import Season

RECENT: Final = 7  # nights, of the mean that the forecasts are held against
FEWEST_RECENT: Final = 4  # of them read, by the night's own sensor
BY_CHANCE: Final = 0.95


@dataclass(frozen=True, kw_only=True)
class Worth(Answer):
    """What the fit is worth.

    Attributes:
        sentences: how the sampler fared, and how well readings are foretold, to be said in order.
        divergences: diverging draws.
        draws: all draws.
        rhat_max: the largest R-hat of any parameter.
        ess_bulk_min: the smallest effective sample size of the bulk.
        ess_tail_min: the same of the tails.
        ess_min: the smaller of the two.
        judged: readings foretold, all that were fitted but the first.
        share_inside: the share of them inside their range.
        share_by_chance: where it lies 95 times in 100 if the level is kept.
        ranges: "too narrow", "too wide" or "as they should be", by whether the share lies there.
        compared: readings with a mean of recent nights beside them.
        mean_error_ms: over those, the mean absolute error of the middle foretold; NaN for none.
        mean_error_of_recent_ms: the same of the mean of recent nights.
        rule: how readings are foretold.
        recent_rule: which recent nights are meant.
        nights: dimension `night`, the judged readings: `rmssd_ms`, `foretold_ms` (with `bound`),
            `inside`, `recent_mean_ms` (NaN where too few were read).
    """

    sentences: tuple[Reason, ...]
    divergences: int
    draws: int
    rhat_max: float
    ess_bulk_min: float
    ess_tail_min: float
    ess_min: float
    judged: int
    share_inside: float
    share_by_chance: Interval
    ranges: str
    compared: int
    mean_error_ms: float
    mean_error_of_recent_ms: float
    rule: Reason = Reason("foretold from the nights before")
    recent_rule: Reason = Reason("mean of recent nights", nights=RECENT, fewest=FEWEST_RECENT)
    nights: xr.Dataset


def worth(athlete: Athlete, level: float = DEFAULT_LEVEL) -> Worth:
    """Answer what the fit is worth; readings since the fit are left out.

    Args:
        athlete: the season and what was learnt of it.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: the fit is not to be trusted, or the past was edited since.
    """
    meant = about(athlete.as_fitted, level, readings_left_out(athlete))
    past, checks = athlete.past_as_fitted, athlete.posterior.checks
    rng = past.rng()
    nights = _foretold(past, level, rng)
    readings, recent = nights["rmssd_ms"].values, nights["recent_mean_ms"].values
    judged, inside = len(readings), float(nights["inside"].mean())
    by_chance = interval(rng.binomial(judged, level, 20_000) / judged, BY_CHANCE)
    ranges = _ranges(inside, by_chance)
    both = np.isfinite(recent)
    error = _mean_error(nights["foretold_ms"].sel(bound="median").values, readings, both)
    error_of_recent = _mean_error(recent, readings, both)
    beside = {"low": by_chance.low, "high": by_chance.high, "ranges": ranges}
    sentences = [
        *_of_the_fit(checks),
        Reason("share inside", readings=judged, share=inside, level=level, **beside),
    ]
    if both.any():
        errors = {"error": error, "error_of_recent": error_of_recent}
        sentences.append(Reason("errors compared", nights=RECENT, **errors))
    return Worth(
        meant,
        sentences=tuple(sentences),
        divergences=checks.divergences,
        draws=checks.draws,
        rhat_max=checks.worst_rhat,
        ess_bulk_min=checks.worst_bulk_ess,
        ess_tail_min=checks.worst_tail_ess,
        ess_min=checks.worst_ess,
        judged=judged,
        share_inside=inside,
        share_by_chance=by_chance,
        ranges=ranges,
        compared=int(both.sum()),
        mean_error_ms=error,
        mean_error_of_recent_ms=error_of_recent,
        nights=nights,
    )


def one_ahead(
    past: Past, rng: np.random.Generator, fitted: Season | None = None
) -> tuple[Floats, Floats]:
    """Foretell each night from the readings before it, before its noise.

    A session or stressor that the night is the first to show counts as any of its type: its own
    dip is learnt from the very reading that is foretold. One since the fit counts as it was.

    Args:
        past: the season taken apart.
        rng: source of the dips' scatter.
        fitted: what was fitted of it; all of it if left out.

    Returns:
        Mean for each draw, ln ms, shape (S, N), NaN on the first night; its variance, likewise.
    """
    learnt = past.first_share * (past.dips - _any_of_its_type(past, rng, fitted or past.season))
    shown = past.shown.copy()
    for event, night in enumerate(past.felt_on):
        shown[:, night] -= learnt[:, event]
    mean = past.filtered.expected - shown + past.shift
    variance = past.filtered.variance.copy()
    mean[:, 0] = variance[:, 0] = np.nan
    return mean, variance


def recent_mean(season: Season) -> Floats:
    """Return the mean of the readings in the nights before each, ms, shape (N,); NaN for few."""
    readings = np.exp(season.data[n.LOG_RMSSD].values)
    sensors = season.data[n.NIGHT_SENSOR].values
    means = np.full(len(readings), np.nan)
    for night in range(1, len(readings)):
        before = slice(max(0, night - RECENT), night)
        kept = readings[before][season.read[before] & (sensors[before] == sensors[night])]
        if len(kept) >= FEWEST_RECENT:
            means[night] = kept.mean()
    return means


def _foretold(past: Past, level: float, rng: np.random.Generator) -> xr.Dataset:
    """Return every reading but the first beside what was foretold for it, by night."""
    judged = np.flatnonzero(past.season.read)[1:]
    readings = np.exp(past.readings[judged])
    foretold = intervals(np.exp(_simulated(past, judged, rng)), level, (n.NIGHT,))
    low, high = (foretold.sel(bound=bound).values for bound in ("low", "high"))
    return xr.Dataset(
        {
            "rmssd_ms": (n.NIGHT, readings),
            "foretold_ms": foretold,
            "inside": (n.NIGHT, (readings >= low) & (readings <= high)),
            "recent_mean_ms": (n.NIGHT, recent_mean(past.season)[judged]),
        },
        coords={n.NIGHT: past.season.nights[judged].astype("datetime64[ns]")},
    )


def _simulated(past: Past, nights: Ints, rng: np.random.Generator) -> Floats:
    """Draw the reading of each of these nights as foretold, ln ms, shape (S, nights)."""
    mean, variance = one_ahead(past, rng)
    shape = (len(past.level), len(nights))
    measured = past.season.reading_ln_sd[nights]
    noise = noise_variance(past.draws, rng.standard_normal(shape), measured)
    sd = np.sqrt(variance[:, nights] + noise)
    return np.asarray(mean[:, nights] + sd * rng.standard_normal(shape))


def _any_of_its_type(past: Past, rng: np.random.Generator, fitted: Season) -> Floats:
    """Return each fitted event's dip with its scatter drawn anew, shape (S, E); others' own."""
    scores = [z for z in (n.SESSION_Z, n.STRESSOR_Z) if z in past.draws]
    anew = {z: (past.draws[z].dims, rng.standard_normal(past.draws[z].shape)) for z in scores}
    if n.UNLOGGED_DIP in past.draws:  # of such a night as any other
        unlogged = past.draws[n.UNLOGGED_DIP]
        shuffled = rng.permutation(unlogged.values.ravel()).reshape(unlogged.shape)
        anew[n.UNLOGGED_DIP] = (unlogged.dims, shuffled)
    known = fitted_events(past.draws.assign(anew), design_of(fitted)).dips
    return np.concatenate([known, past.dips[:, known.shape[1] :]], axis=1)


def _mean_error(foretold: Floats, readings: Floats, which: NDArray[np.bool_]) -> float:
    return float(np.abs(foretold - readings)[which].mean()) if which.any() else np.nan


def _ranges(share: float, by_chance: Interval) -> str:
    if share < by_chance.low:
        return "too narrow"
    return "too wide" if share > by_chance.high else "as they should be"


def _of_the_fit(checks: FitChecks) -> list[Reason]:
    """Return how the sampler fared: what there is to complain of, or that there is nothing."""
    return checks.complaints or [
        Reason("no divergences", draws=checks.draws),
        Reason("chains agree", rhat=checks.worst_rhat),
        Reason("enough effective draws", ess=checks.worst_ess),
    ]
