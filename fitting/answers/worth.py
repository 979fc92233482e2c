"""What a fit is worth: how the sampler fared, and how well it foretells each reading."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.sampling import last_night
from slackwater.fitting.sampling.posterior import FitChecks, Posterior
from slackwater.fitting.state.past import Past, fitted_alone, past_of
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.season import Season

RECENT: Final = 7  # nights, of the mean that the forecasts are held against
FEWEST_RECENT: Final = 4  # of them read, by the night's own sensor
BY_CHANCE: Final = 0.95
RULE: Final = (
    "each reading is foretold from the readings of the nights before it; baseline is followed "
    "night by night, but what is learnt of types, rates, noise and the sessions before comes from "
    "the whole fit, later readings included, so this is kinder than a forecast of nights to come; "
    "a session that a night is the first to show counts as any session of its type"
)
RECENT_RULE: Final = (
    f"the mean of the last {RECENT} nights' readings in ms, by the same sensor, where at least "
    f"{FEWEST_RECENT} were read; errors of both are over the same nights"
)


class OneAhead(NamedTuple):
    """Each night foretold from the readings before it, before its noise.

    Attributes:
        mean: mean for each draw, ln ms, shape (S, N); NaN on the first night.
        variance: its variance, shape (S, N).
    """

    mean: Floats
    variance: Floats


def worth(season: Season, posterior: Posterior, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer what the fit is worth; readings since the fit are left out.

    Args:
        season: the season as it is now.
        posterior: its posterior.
        level: credible mass of every interval.

    Returns:
        `divergences`, `draws`, `rhat_max`, `ess_bulk_min`, `ess_tail_min`, `ess_min`.
        Dimension `night`, every fitted reading but the first: `rmssd_ms`, `foretold` (ms, with
        `bound`), `inside`, `recent_mean_ms` (NaN where too few were read). `judged` readings,
        `share_inside`, `share_by_chance` (with `bound`: where the share lies 95 times in 100 if
        the level is kept); over the `compared` readings, those with a recent mean,
        `mean_error_ms` and `mean_error_of_recent_ms`, mean absolute errors (NaN where none is).
        Attributes `sentences`, the same in plain words; `rule`, `recent_rule`.

    Raises:
        NoAnswerError: the fit is not to be trusted, or the past was edited since.
    """
    check_level(level)
    now, left_out = fitted_alone(season, posterior)
    past = past_of(now, posterior)
    judged = np.flatnonzero(past.season.read)[1:]
    readings = np.exp(past.readings[judged])
    foretold = interval(np.exp(_simulated(past, judged)), level, (n.NIGHT,))
    recent = recent_mean(past.season)[judged]
    low, middle, high = (foretold.sel(bound=b).values for b in ("low", "median", "high"))
    inside = (readings >= low) & (readings <= high)
    by_chance = past.rng.binomial(len(judged), level, 20_000) / len(judged)
    both = np.isfinite(recent)
    data = xr.Dataset(
        {
            **_diagnostics(posterior.checks),
            "rmssd_ms": (n.NIGHT, readings),
            "foretold": foretold.assign_attrs(units="ms"),
            "inside": (n.NIGHT, inside),
            "recent_mean_ms": (n.NIGHT, recent),
            "judged": len(judged),
            "share_inside": float(inside.mean()),
            "share_by_chance": interval(by_chance, BY_CHANCE),
            "compared": int(both.sum()),
            "mean_error_ms": _mean_error(middle, readings, both),
            "mean_error_of_recent_ms": _mean_error(recent, readings, both),
        },
        coords={n.NIGHT: past.season.nights[judged].astype("datetime64[ns]")},
    )
    sentences = [*_fit_sentences(posterior.checks), *_record_sentences(data, level)]
    return answer(
        data,
        "worth",
        now,
        level,
        left_out,
        sentences=sentences,
        rule=RULE,
        recent_rule=RECENT_RULE,
    )


def one_ahead(past: Past) -> OneAhead:
    """Foretell each night from the readings before it.

    A session or stressor that the night is the first to show counts as any of its type: its own
    dip is learnt from the very reading that is foretold.
    """
    drift = past.draws[n.DRIFT_SD].values[:, None] ** 2
    mean, variance = np.full(past.shown.shape, np.nan), np.full(past.shown.shape, np.nan)
    variance[:, 1:] = past.filtered.variance[:, :-1] + drift
    learnt = past.first_share * (past.dips - _any_of_its_type(past))
    shown = past.shown.copy()
    for event, night in enumerate(past.felt_on):
        shown[:, night] -= learnt[:, event]
    mean[:, 1:] = past.filtered.mean[:, :-1] - shown[:, 1:] + past.shift[:, 1:]
    return OneAhead(mean, variance)


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


def _simulated(past: Past, nights: Ints) -> Floats:
    """Draw the reading of each of these nights as foretold, ln ms, shape (S, nights)."""
    ahead = one_ahead(past)
    shape = (len(past.level), len(nights))
    noise = last_night.noise_variance(past.draws, past.rng.standard_normal(shape))
    sd = np.sqrt(ahead.variance[:, nights] + noise)
    return np.asarray(ahead.mean[:, nights] + sd * past.rng.standard_normal(shape))


def _any_of_its_type(past: Past) -> Floats:
    """Return each event's dip with its scatter drawn anew, shape (S, E); the start's own."""
    scores = [z for z in (n.SESSION_Z, n.STRESSOR_Z) if z in past.draws]
    anew = {z: (past.draws[z].dims, past.rng.standard_normal(past.draws[z].shape)) for z in scores}
    return last_night.rates_and_dips(past.draws.assign(anew), design_of(past.season))[1]


def _mean_error(foretold: Floats, readings: Floats, which: NDArray[np.bool_]) -> float:
    return float(np.abs(foretold - readings)[which].mean()) if which.any() else np.nan


def _diagnostics(checks: FitChecks) -> dict[str, float]:
    return {
        "divergences": checks.divergences,
        "draws": checks.draws,
        "rhat_max": checks.worst_rhat,
        "ess_bulk_min": checks.worst_bulk_ess,
        "ess_tail_min": checks.worst_tail_ess,
        "ess_min": checks.worst_ess,
    }


def _fit_sentences(checks: FitChecks) -> list[str]:
    """Say how the sampler fared: what there is to complain of, or that there is nothing."""
    if checks.complaints:
        return checks.complaints
    return [
        f"The sampler went through without a divergent step in {checks.draws} draws.",
        f"Its chains agree (R-hat at most {checks.worst_rhat:.3f}; 1.01 is the limit).",
        f"The draws are worth at least {checks.worst_ess:.0f} independent ones (400 are enough).",
    ]


def _record_sentences(data: xr.Dataset, level: float) -> list[str]:
    low, _, high = data["share_by_chance"].values
    share = float(data["share_inside"])
    if share < low:
        judgement = "fewer than chance allows: the ranges are too narrow"
    elif share > high:
        judgement = "more than chance allows: the ranges are too wide"
    else:
        judgement = "as it should be"
    said = [
        f"Of {int(data['judged'])} readings, {100 * share:.0f} % lay in the range foretold for "
        f"them, which should hold {100 * level:g} %; by chance that share varies from "
        f"{100 * low:.0f} to {100 * high:.0f} %, so this is {judgement}."
    ]
    if int(data["compared"]):
        said.append(
            f"The middle of the range missed the reading by {float(data['mean_error_ms']):.1f} ms "
            f"on average, the mean of the last {RECENT} nights by "
            f"{float(data['mean_error_of_recent_ms']):.1f} ms."
        )
    return said
