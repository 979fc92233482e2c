"""Where baseline lies, how much dip is left, and whether rest has done its work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from slackwater.fitting.answers.answer import Answer, Unexplained, about, unexplained
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.state.ahead import days_until_baseline
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.back import back_by
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.season import DAY

FLAT_NIGHTS_NEEDED: Final = 3
FLAT_CHANCE: Final = 0.8
LIKELY: Final = "likely"
POSSIBLY: Final = "possibly"
LIKELY_NOT: Final = "likely not"


@dataclass(frozen=True)
class Plateau:
    """Whether rest has done its work.

    Attributes:
        flat_nights: the latest nights in a row, without a session, that rest could no longer lift.
        reached: whether they are enough.
        rule: when a night is flat, and how many are enough.
    """

    flat_nights: int
    reached: bool
    rule: Reason


@dataclass(frozen=True)
class Baseline(Answer):
    """Where the athlete stands on the morning of the last reading.

    Attributes:
        baseline_rmssd_ms: baseline, on the scale of the sensor in use.
        dip_left_ln: all dips together, ln.
        chance_at_baseline: the chance that they are under the threshold.
        at_baseline: the same at the answer's level: `LIKELY`, `POSSIBLY` or `LIKELY_NOT`.
        further_rest_days: days of rest until they are.
        back_by: the first morning, once all that is logged was felt, on which the chance of it is
            four in five; None where there is none within 60 days.
        plateau: whether rest has done its work.
        night_to_night_sd_ln: SD of an ordinary night's noise, what lingers included, ln.
        unexplained: what holds readings down now and is not in the log; None where nothing is. It
            counts as a dip.
    """

    baseline_rmssd_ms: Interval
    dip_left_ln: Interval
    chance_at_baseline: float
    at_baseline: str
    further_rest_days: Interval
    back_by: np.datetime64 | None
    plateau: Plateau
    night_to_night_sd_ln: Interval
    unexplained: Unexplained | None


def baseline(athlete: Athlete, level: float = DEFAULT_LEVEL) -> Baseline:
    """Answer where baseline lies and how far the athlete is from it.

    Args:
        athlete: the season and what was learnt of it.
        level: credible mass of every interval.
    """
    now = athlete.now
    chance = chance_at_baseline(now)
    return Baseline(
        about(now, level),
        baseline_rmssd_ms=interval(np.exp(now.baseline), level),
        dip_left_ln=interval(now.dips.sum(axis=1), level),
        chance_at_baseline=chance,
        at_baseline=standing_at(chance, level),
        further_rest_days=interval(days_until_baseline(now, []), level),
        back_by=back_by(now),
        plateau=plateau(now),
        night_to_night_sd_ln=interval(now.parameter(n.NOISE_SD), level),
        unexplained=unexplained(now, level),
    )


def chance_at_baseline(now: Standing) -> float:
    """Return the chance that what is left of all dips is under the threshold."""
    return float((now.dips.sum(axis=1) <= now.threshold).mean())


def plateau(now: Standing) -> Plateau:
    """Return whether rest has done its work."""
    flat = flat_nights(now)
    rule = Reason("plateau rule", chance=FLAT_CHANCE, nights=FLAT_NIGHTS_NEEDED)
    return Plateau(flat, flat >= FLAT_NIGHTS_NEEDED, rule)


def flat_nights(now: Standing) -> int:
    """Count the latest nights in a row, without a session, that rest could no longer lift."""
    nights = _nights_since_last_event(now)
    under = now.dips_before(now.night - DAY * np.arange(nights)[::-1]).sum(axis=2)
    flat = (under <= now.threshold[:, None]).mean(axis=0) >= FLAT_CHANCE
    return nights if flat.all() else int(np.argmin(flat[::-1]))


def standing_at(chance: float, level: float) -> str:
    """Return how likely baseline is, in words: `LIKELY` from a chance of `level` on."""
    if chance >= level:
        return LIKELY
    return LIKELY_NOT if chance <= 1 - level else POSSIBLY


def _nights_since_last_event(now: Standing) -> int:
    """Return how many nights, up to the last, came after the one that felt the last event."""
    felt = np.concatenate([now.season.session_nights(), now.season.stressor_nights()])
    last = int(((now.night - now.season.first_night) / DAY).astype(int))
    on_axis = felt[(felt >= 0) & (felt <= last)]
    return last - int(on_axis.max(initial=-1))
