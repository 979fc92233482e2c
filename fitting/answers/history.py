"""Baseline and recovery over all that was fitted: by quarter, sensor, habit and half."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.compare import SURE
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.recovery_trend import has_trend, recovery_then
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.past import Past, fitted_alone, past_of
from slackwater.model import names as n
from slackwater.model.design import other_sensors
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY, Season

QUARTER: Final = "quarter"
KIND: Final = "kind"
ALL_TYPES: Final = "all types together"
FEWEST_NIGHTS: Final = 14  # before and after a habit
FEWEST_SESSIONS: Final = 4  # of a type, in either half
DIP_CHANGE_SD: Final = 0.3  # ln, believed beforehand: a third either way; a reason, no source
RECOVERY_RULE: Final = (
    "told only where the chance that sessions of the later half dip deeper, or that they dip less "
    "deep, is at least 97.5 %"
)
CHANGED: Final = (
    "Sessions of the later half dip otherwise than those of the earlier, and the fit holds them "
    "alike: it takes a part of that for a change of baseline. Take the change of baseline with "
    "care, or fit the later half in a folder of its own."
)


class Change(NamedTuple):
    """How far mean baseline moved from one stretch to another, ln, S draws.

    Attributes:
        moved: the change, shape (S,).
        alone: one change that each draw's drift would make by itself, shape (S,).
    """

    moved: Floats
    alone: Floats

    def summary(self, level: float) -> dict[str, xr.DataArray]:
        """Return what is shown of it."""
        return {
            "change_percent": interval(100 * np.expm1(self.moved), level),
            "chance_rose": xr.DataArray((self.moved > 0).mean()),
            "drift_alone_percent": interval(100 * np.expm1(self.alone), level),
            "chance_drift_as_large": xr.DataArray(
                (np.abs(self.alone) >= np.abs(self.moved)).mean()
            ),
        }


def history(
    season: Season,
    posterior: Posterior,
    since: np.datetime64 | None = None,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer how baseline and recovery went over all that was fitted.

    Readings since the fit are left out. Baseline is on the scale of the latest sensor fitted.

    Args:
        season: the season as it is now.
        posterior: its posterior.
        since: the day from which a habit was kept; its first night is the one that follows.
        level: credible mass of every interval.

    Returns:
        Dimension `quarter` (calendar quarters): `baseline_rmssd_ms` of the mean over its nights,
        and against the quarter before `change_percent`, `drift_alone_percent` (all with `bound`),
        `chance_rose`, `chance_drift_as_large`; NaN for the first. Dimension `other_sensor`:
        `sensor_step_percent`. Dimension `kind` (all types, then each with enough sessions):
        `dip_change_percent`, later over earlier half, `chance_deeper`, `shown`; in its place,
        where the fit lets recovery change, dimension `half_year` of `recovery_then`. With
        `since`: `habit_change_ms`, `habit_change_percent` and so on, scalars. Attributes hold
        `quarters`, `sensors`, `habit`, `recovery` as plain objects, and `draws_used`.

    Raises:
        QuestionError: `since` lies outside the fitted nights.
        NoAnswerError: the fit is not to be trusted, the past was edited since, or there are too
            few nights before or after `since`.
    """
    check_level(level)
    now, left_out = fitted_alone(season, posterior)
    past = past_of(now, posterior)
    by_quarter, quarters = _by_quarter(past, level)
    steps, sensors = _sensors(past, level)
    by_kind, recovery = _recovery(past, level)
    then, half_years = recovery_then(past, level) if has_trend(past) else (xr.Dataset(), [])
    asked, habit = _habit(past, since, level) if since is not None else (xr.Dataset(), None)
    changed = bool(by_kind["shown"].any()) if recovery["kinds"] else False
    return answer(
        xr.merge([by_quarter, steps, by_kind, then, asked]),
        "history",
        now,
        level,
        [*left_out, *([CHANGED] if changed else [])],
        quarters=quarters,
        sensors=sensors,
        recovery=recovery | {"half_years": half_years},
        habit=habit,
        draws_used=past.draws.sizes["sample"],
        draws_in_all=posterior.draws.sizes["sample"],
    )


def _change(past: Past, before: NDArray[np.bool_], after: NDArray[np.bool_]) -> Change:
    """Return how far the mean baseline over some nights lies above that over some before."""
    weight = after / after.sum() - before / before.sum()
    later = np.cumsum(weight[::-1])[::-1]  # what the step into each night moves
    sd = past.draws[n.DRIFT_SD].values * np.sqrt((later[1:] ** 2).sum())
    return Change(past.level @ weight, sd * past.rng.standard_normal(len(sd)))


def _by_quarter(past: Past, level: float) -> tuple[xr.Dataset, list[dict[str, Any]]]:
    nights = past.season.nights
    numbers = nights.astype("datetime64[M]").astype(int) // 3
    numbers[: past.first_read] = -1
    each = [numbers == number for number in np.unique(numbers[past.first_read :])]
    means = np.stack([past.level[:, mine].mean(axis=1) for mine in each], axis=1)
    changes = [_change(past, *pair).summary(level) for pair in pairwise(each)]
    data = xr.Dataset({"baseline_rmssd_ms": interval(np.exp(means), level, (QUARTER,))})
    for name in changes[0] if changes else ():
        rows = xr.concat([change[name] for change in changes], QUARTER)
        data[name] = rows.pad({QUARTER: (1, 0)})  # nothing before the first
    return data, [
        _stretch(past.season, mine) | {"quarter": _named(nights[mine][0])} for mine in each
    ]


def _named(night: np.datetime64) -> str:
    year, quarter = divmod(int(night.astype("datetime64[M]").astype(int)) // 3, 4)
    return f"{1970 + year} Q{quarter + 1}"


def _stretch(season: Season, mine: NDArray[np.bool_]) -> dict[str, Any]:
    nights = season.nights[mine]
    return {
        "first": str(nights[0]),
        "last": str(nights[-1]),
        "nights": len(nights),
        "nights_read": int(season.read[mine].sum()),
    }


def _sensors(past: Past, level: float) -> tuple[xr.Dataset, list[dict[str, Any]]]:
    season = past.season
    others = other_sensors(season)
    by = season.data[n.NIGHT_SENSOR].values
    used = [
        {
            "sensor": name,
            **_stretch(season, season.read & (by == code)),
            "reference": name not in others,
        }
        for code, name in enumerate(season.sensors)
    ]
    if not others:
        return xr.Dataset(), used
    steps = 100 * np.expm1(past.draws[n.SENSOR_STEP].values)
    data = {"sensor_step_percent": interval(steps, level, (n.OTHER_SENSOR,))}
    return xr.Dataset(data, {n.OTHER_SENSOR: others}), used


def _recovery(past: Past, level: float) -> tuple[xr.Dataset, dict[str, Any]]:
    """Return how much deeper the later half's sessions dip than the earlier half's."""
    season = past.season
    middle = len(season.nights) // 2
    facts: dict[str, Any] = {"later_from": str(season.nights[middle]), "kinds": []}
    if n.SESSION_Z not in past.draws or has_trend(past):
        return xr.Dataset(), facts
    types = season.data[n.SESSION_TYPE].values
    later = season.session_nights() >= middle
    contrast = later.astype(float)
    for label in season.types:
        contrast[types == label] -= later[types == label].mean()
    changes = []
    for kind in (ALL_TYPES, *season.types):
        mine = np.ones(len(types), bool) if kind == ALL_TYPES else types == kind
        counts = [int((mine & ~later).sum()), int((mine & later).sum())]
        if min(counts) >= FEWEST_SESSIONS:
            changes.append(_change_of_dips(past, np.where(mine, contrast, 0.0)))
            facts["kinds"].append({"kind": kind, "earlier": counts[0], "later": counts[1]})
    if not changes:
        return xr.Dataset(), facts
    deeper = np.array([(change > 0).mean() for change in changes])
    percent = 100 * np.expm1(np.stack(changes, axis=1))
    data = {
        "dip_change_percent": interval(percent, level, (KIND,)),
        "chance_deeper": (KIND, deeper),
        "shown": (KIND, np.maximum(deeper, 1 - deeper) >= SURE),
    }
    return xr.Dataset(data), facts


def _change_of_dips(past: Past, contrast: Floats) -> Floats:
    """Return draws of a change of log dip that goes with a contrast between sessions, (S,).

    A change c moves a session's z by c / session_sd times its contrast. The fit knows of no such
    change, but its draws of T = contrast . z tell how likely each c makes the readings: with the
    draws weighed by exp(c T / sd - (c / sd)^2 S / 2), S = contrast . contrast, and T normal over
    them, the likelihood of c / sd has the precision S - var(T), which is what the readings say of
    T beyond its prior, and its mean is mean(T) over that.
    """
    scatter = past.draws[n.SESSION_SD].values
    told = past.draws[n.SESSION_Z].values @ contrast
    learnt = max(0.0, float(contrast @ contrast - told.var()))
    precision = learnt + (scatter / DIP_CHANGE_SD) ** 2
    noise = past.rng.standard_normal(len(scatter))
    return np.asarray(scatter * (told.mean() / precision + noise / np.sqrt(precision)))


def _habit(past: Past, since: np.datetime64, level: float) -> tuple[xr.Dataset, dict[str, Any]]:
    """Return the change of baseline with a habit, over the same length before and after."""
    season, nights = past.season, past.season.nights
    first = int((since + DAY - nights[0]) / DAY)  # the night that can show it
    if not past.first_read < first < len(nights):
        raise QuestionError(
            f"{since} lies outside what was fitted; give a day from {nights[past.first_read]} to "
            f"{nights[-1] - DAY}."
        )
    length = min(first - past.first_read, len(nights) - first)
    index = np.arange(len(nights))
    sides = {
        "before": (index >= first - length) & (index < first),
        "after": (index >= first) & (index < first + length),
    }
    fewest = min(int((season.read & side).sum()) for side in sides.values())
    if fewest < FEWEST_NIGHTS:
        raise NoAnswerError(
            f"Around {since} there are only {fewest} readings on one side, over the same length on "
            f"both; {FEWEST_NIGHTS} are needed. Go on logging, or ask for another day."
        )
    change = _change(past, sides["before"], sides["after"])
    before, after = (past.level[:, side].mean(axis=1) for side in sides.values())
    data = xr.Dataset({"change_ms": interval(np.exp(after) - np.exp(before), level)})
    data = data.assign(change.summary(level))
    stretches = {name: _stretch(season, side) for name, side in sides.items()}
    meanwhile = _meanwhile(season, list(sides.values()))
    return (
        data.rename({name: f"habit_{name}" for name in data.data_vars}),
        {"since": str(since), **stretches, "meanwhile": meanwhile},
    )


def _meanwhile(season: Season, sides: list[NDArray[np.bool_]]) -> list[dict[str, Any]]:
    """Return what else was logged on either side: sessions, stressor days, measures, sensors."""
    data, count = season.data, len(season.nights)

    def felt(nights: NDArray[np.int64], labels: NDArray[np.str_], label: str) -> NDArray[Any]:
        return np.bincount(nights[labels == label], minlength=count)

    done, days = season.session_nights(), season.stressor_nights()
    applied, by = season.applied(), data[n.NIGHT_SENSOR].values
    each = {
        **{f"sessions of {t}": felt(done, data[n.SESSION_TYPE].values, t) for t in season.types},
        **{f"days of {s}": felt(days, data[n.STRESSOR_LABEL].values, s) for s in season.stressors},
        **dict(zip((f"nights with {i}" for i in season.interventions), applied, strict=True)),
        **{f"readings by {s}": season.read & (by == c) for c, s in enumerate(season.sensors)},
    }
    before, after = sides
    return [
        {"what": what, "before": int(x[before].sum()), "after": int(x[after].sum())}
        for what, x in each.items()
    ]
