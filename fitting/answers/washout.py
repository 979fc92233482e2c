"""Rest to baseline: the days still needed, the way so far, and what would spoil it.

Before a season can be fitted the same is answered from the priors alone: general experience,
not about this athlete.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.baseline import FLAT_CHANCE, FLAT_NIGHTS_NEEDED, flat_nights
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import SCHEMA, answer
from slackwater.fitting.state.ahead import FARTHEST, dips_ahead
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import QuestionError
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, THE_SENSOR, Season

SURE: Final = 0.9
DEFAULT_DAYS: Final = 7
LONGEST_LOOK_BACK: Final = 28  # mornings shown
REST_READINGS: Final = 7
MISSING_ALLOWED: Final = 0.25  # share of the nights of rest
KNOWN_LEVEL: Final = 0.8  # of baseline's range, whatever level is shown
COMMON_PRACTICE: Final = "One to two weeks of complete rest is common practice, no source."
MODEL_RULE: Final = (
    f"a night is flat when the chance is at least {FLAT_CHANCE:.0%} that what rest could still "
    f"add lies under the threshold, and {FLAT_NIGHTS_NEEDED} flat nights in a row are a plateau"
).replace("%", " %")
PLAIN_RULE: Final = (
    "no rise when the mean of the last three readings is not above the mean of the three before "
    "by more than the threshold (common practice, no source)"
)
PAST: Final = "morning"  # dimension of the mornings looked back on
_PRIOR_DRAWS: Final = 40_000
_PRIOR_SEED: Final = 1


class Rest(NamedTuple):
    """The stretch of rest that leads up to a season's last reading.

    Attributes:
        after: the last session that a reading shows, "TYPE on DATE"; empty where there is none.
        first: index of the first night of rest: the one after the night that first shows the
            session, or the season's first.
        nights: nights of rest, read or not.
        read: how many of them were read.
        missing: how many were not, from the season's first reading on.
        quiet: index of the night that first shows the last session or stressor, or 0.
        coming: sessions that no reading shows yet, "TYPE on DATE".
        reach: nights from the last reading until the last event logged is first felt; 0 if none.
        stressors: stressor days since the last session, "STRESSOR on DATE".
        measures: interventions in use since then.
    """

    after: str
    first: int
    nights: int
    read: int
    missing: int
    quiet: int
    coming: list[str]
    reach: int
    stressors: list[str]
    measures: list[str]

    @property
    def shown(self) -> dict[str, Any]:
        """What is shown of it, as a plain object."""
        return {"after": self.after, "nights": self.nights, "nights_read": self.read}

    @property
    def warnings(self) -> list[str]:
        """What to mind where rest has not begun."""
        coming = ", ".join(self.coming)
        said = f"Logged and still to be felt: {coming}. Rest begins after that."
        return [said] if coming else []


def washout(now: Standing, days: int = DEFAULT_DAYS, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer how many more days of complete rest lead to baseline, and how rest has gone.

    Args:
        now: the state, from `standing`.
        days: how many coming mornings to show, 1 to 60.
        level: credible mass of every interval.

    Returns:
        `further_rest_days`, whole days until the chance of being at baseline is 90 % (NaN beyond
        60 after the last session logged), and `chance_at_baseline` this morning. Dimension
        `night`, the coming mornings: `coming_chance`, `coming_dip_ln` (with `bound`). Dimension
        `morning`, those since the last session or stressor: `rmssd_ms` (NaN where not read),
        `dip_left_ln` (with `bound`), `chance_flat`, `rise_ln` (mean of the last three readings
        minus the three before, NaN where there are fewer). `flat_nights`, `plateau_reached`,
        `threshold_ln`, `baseline_rmssd_ms` (with `bound`). Attributes `rest`, `wanted` (what
        baseline needs to count as known) and `conditions` hold plain objects.

    Raises:
        QuestionError: no day, or more than 60, asked for.
    """
    _check(days, level)
    rest = rest_so_far(now.season)
    dips, _, dates = dips_ahead(now, max(days, rest.reach + FARTHEST), [], (), now.rng())
    chance_now = float((now.dips.sum(axis=1) <= now.threshold).mean())
    chances = (dips <= now.threshold[:, None]).mean(axis=0)
    scatter = np.sqrt(now.level_variance) * now.rng().standard_normal(len(now.level_mean))
    baseline = now.level_mean + scatter
    threshold = float(np.median(now.threshold))
    flat = flat_nights(now)
    mornings, past_dips = _looking_back(now, rest.quiet)
    readings = now.season.data[n.LOG_RMSSD].values[-len(mornings) :]
    sensors = now.season.data[n.NIGHT_SENSOR].values[-len(mornings) :]
    data = xr.Dataset(
        {
            "further_rest_days": _first_sure(np.append(chance_now, chances), rest.reach),
            "chance_at_baseline": chance_now,
            "coming_chance": (n.NIGHT, chances[:days]),
            "coming_dip_ln": interval(dips[:, :days], level, (n.NIGHT,)),
            "rmssd_ms": (PAST, np.exp(readings)),
            "dip_left_ln": interval(past_dips, level, (PAST,)),
            "chance_flat": (PAST, (past_dips <= now.threshold[:, None]).mean(axis=0)),
            "rise_ln": (PAST, rise(readings, sensors)),
            "flat_nights": flat,
            "plateau_reached": flat >= FLAT_NIGHTS_NEEDED,
            "threshold_ln": threshold,
            "baseline_rmssd_ms": interval(np.exp(baseline), level),
        },
        coords={
            n.NIGHT: dates[:days].astype("datetime64[ns]"),
            PAST: mornings.astype("datetime64[ns]"),
        },
    )
    low, _, high = interval(baseline, KNOWN_LEVEL).values
    return answer(
        data,
        "washout",
        now,
        level,
        rest.warnings,
        basis="posterior",
        rest=rest.shown,
        wanted=_wanted(rest, (high - low) / 2, threshold, chance_now),
        conditions=conditions(now.season, rest),
    )


def washout_before_fit(
    season: Season,
    priors: Priors | None = None,
    days: int = DEFAULT_DAYS,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer the same from the priors alone, where a season has no posterior yet.

    Whatever weighs on the athlete when rest begins, the last session included, is taken for an
    unlogged start. A few readings do; how high they are plays no part.

    Returns:
        `rest_days_in_all`, `rested_days` (below 0 where a session is still to be felt) and
        `further_rest_days`; `chance_at_baseline`; dimension `night`: `coming_chance`,
        `coming_dip_ln` (with `bound`). Attributes `rest`, `conditions`.

    Raises:
        QuestionError: no day, or more than 60, asked for.
    """
    _check(days, level)
    rest = rest_so_far(season)
    rested = -rest.reach if rest.reach else len(season.nights) - 1 - rest.quiet
    dip, rate, threshold = _from_priors(priors or Priors())

    def dips_after(passed: NDArray[np.int64]) -> Floats:
        return dip * np.exp(-rate * np.maximum(passed, 0))

    in_all = _first_sure((dips_after(np.arange(FARTHEST + 1)) <= threshold).mean(axis=0), 0)
    coming = dips_after(rested + np.arange(1, days + 1))
    data = xr.Dataset(
        {
            "rest_days_in_all": in_all,
            "rested_days": rested,
            "further_rest_days": np.maximum(in_all - rested, 0.0),
            "chance_at_baseline": float((dips_after(np.array([rested])) <= threshold).mean()),
            "coming_chance": (n.NIGHT, (coming <= threshold).mean(axis=0)),
            "coming_dip_ln": interval(coming, level, (n.NIGHT,)),
        },
        coords={n.NIGHT: (season.last_night + DAY * np.arange(1, days + 1)).astype("M8[ns]")},
    )
    general = (
        "This is general experience, not about this athlete: there is no posterior yet, so it "
        "comes from the priors alone, and the readings play no part in it. With two weeks of "
        "readings, slackwater fit learns from them."
    )
    return data.assign_attrs(
        question="washout",
        schema=SCHEMA,
        season=season.name,
        last_night=str(season.last_night),
        level=level,
        warnings=[general, *rest.warnings],
        basis="priors",
        rest=rest.shown,
        conditions=conditions(season, rest),
    )


def rest_so_far(season: Season) -> Rest:
    """Return the stretch of rest that leads up to a season's last reading."""
    data, last = season.data, len(season.nights) - 1
    sessions, stressors = season.session_nights(), season.stressor_nights()
    done = np.flatnonzero((sessions >= 0) & (sessions <= last))
    shown = int(sessions[done].max(initial=-1))
    felt = np.concatenate([sessions, stressors])
    named = _named(data[n.SESSION_TYPE].values, data[n.SESSION_DATE].values)
    weighed = _named(data[n.STRESSOR_LABEL].values, data[n.STRESSOR_DATE].values)
    used = [bool(acts.any()) for acts in season.applied()[:, shown + 1 :]]
    return Rest(
        after=" and ".join(named[i] for i in done[sessions[done] == shown]),
        first=shown + 1,
        nights=last - shown,
        read=int(season.read[shown + 1 :].sum()),
        missing=int((~season.read[max(shown + 1, int(np.argmax(season.read))) :]).sum()),
        quiet=int(felt[(felt >= 0) & (felt <= last)].max(initial=0)),
        coming=[named[i] for i in np.flatnonzero(sessions > last)],
        reach=max(0, int(felt.max(initial=0)) - last),
        stressors=[weighed[i] for i in np.flatnonzero(stressors > shown)],
        measures=[name for name, acts in zip(season.interventions, used, strict=True) if acts],
    )


def rise(readings: Floats, sensors: NDArray[np.int64]) -> Floats:
    """Return how far the last three readings' mean lies above that of the three before.

    Args:
        readings: ln RMSSD of the mornings of rest, NaN where not read, shape (H,).
        sensors: the sensor of each.

    Returns:
        One number a morning, ln; NaN where it was not read, or where its six readings are not
        there or not by one sensor.
    """
    out = np.full(len(readings), np.nan)
    read = np.flatnonzero(np.isfinite(readings))
    for end in range(6, len(read) + 1):
        six = read[end - 6 : end]
        if len(set(sensors[six])) == 1:
            out[six[-1]] = readings[six[3:]].mean() - readings[six[:3]].mean()
    return out


def conditions(season: Season, rest: Rest) -> list[dict[str, str]]:
    """Return what makes a washout valid, against the log: "met", "not met" or "open"."""
    resting = season.data[n.NIGHT_SENSOR].values[rest.first :]
    sensors = [season.sensors[int(s)] for s in dict.fromkeys(resting)]
    named = "".join(sensors) not in ("", THE_SENSOR)
    missing = [f"{rest.missing} not read"] if rest.missing else []
    open_still = "no stressor is logged: is that so?"
    rows = [
        ("no training", rest.coming, "met", "none logged"),
        ("every night read", missing, "met", "none missing"),
        ("no recovery measure", rest.measures, "met", "none logged"),
        ("the same sensor", sensors if len(sensors) > 1 else [], "met", "".join(sensors))
        if named
        else ("the same sensor", [], "open", "readings.csv names none: was it the same?"),
        ("not ill, nothing else that weighs", rest.stressors, "open", open_still),
        ("slept as usual", [], "open", "no late nights, no strange bed?"),
        ("fed as usual", [], "open", "enough to eat, no diet, no fasting, little alcohol?"),
    ]
    return [
        {
            "condition": what,
            "state": "not met" if spoilt else state,
            "detail": ", ".join(spoilt) or fine,
        }
        for what, spoilt, state, fine in rows
    ]


def _named(labels: NDArray[np.str_], dates: NDArray[np.datetime64]) -> list[str]:
    return [f"{label} on {str(date)[:10]}" for label, date in zip(labels, dates, strict=True)]


def _check(days: int, level: float) -> None:
    check_level(level)
    if not 1 <= days <= FARTHEST:
        raise QuestionError(f"A washout looks 1 to {FARTHEST} days ahead, not {days}.")


def _first_sure(chances: Floats, earliest: int) -> float:
    """Return the first day, from `earliest` on, whose chance is 90 %; NaN where there is none."""
    sure = np.flatnonzero(chances[earliest:] >= SURE)
    return float(earliest + sure[0]) if len(sure) else np.nan


def _looking_back(now: Standing, quiet: int) -> tuple[NDArray[np.datetime64], Floats]:
    """Return the mornings since the last event, and all dips together on them, (S, mornings).

    Without an event in between, a dip was larger by its own decay the morning before.
    """
    mornings = now.season.nights[quiet:][-LONGEST_LOOK_BACK:]
    speed = now.speed(mornings)
    dips, found = now.dips, np.empty((len(now.dips), len(mornings)))
    for morning in range(len(mornings) - 1, -1, -1):
        found[:, morning] = dips.sum(axis=1)
        dips = dips * np.exp(now.rates * speed[:, [morning]])
    return mornings, found


def _from_priors(priors: Priors) -> tuple[Floats, Floats, Floats]:
    """Return draws of the unlogged start's dip and rate, and of the threshold, (draws, 1)."""
    rng = np.random.default_rng(_PRIOR_SEED)

    def draws(belief: Belief) -> Floats:
        return np.exp(belief.mean + belief.sd * rng.standard_normal((_PRIOR_DRAWS, 1)))

    dip, rate = draws(priors.start_dip), draws(priors.start_rate)
    return dip, rate, 0.5 * draws(priors.noise_sd)


def _wanted(rest: Rest, half_width: float, threshold: float, chance: float) -> list[dict[str, Any]]:
    """Return what baseline needs to count as known: what there is, what is wanted, whether met."""
    missing = rest.missing / max(rest.missing + rest.read, 1)
    rows = [
        ("baseline_half_width_ln", half_width, threshold, half_width <= threshold),
        ("rest_nights_read", rest.read, REST_READINGS, rest.read >= REST_READINGS),
        ("share_missing", missing, MISSING_ALLOWED, missing <= MISSING_ALLOWED),
        ("chance_at_baseline", chance, SURE, chance >= SURE and not rest.reach),
    ]
    return [{"what": what, "have": h, "want": w, "met": bool(met)} for what, h, w, met in rows]
