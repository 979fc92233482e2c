"""Readings outside what was foreseen."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from slackwater.fitting.doubts import foreseen as f
from slackwater.fitting.doubts.history import DAY, History, ln_of
from slackwater.fitting.doubts.slips import likeliest, of_a_reading
from slackwater.fitting.intake.cells import ReadingRow
from slackwater.model.errors import Reason
from slackwater.model.priors import Priors

_PRIORS: Final = Priors()
_PRIOR: Final = f.reading_prior()
_JUDGED: Final = 4096  # readings whose judgement is remembered
_SENSOR_STEP: Final = _PRIORS.sensor_step.sd**2
# The mean square of a log-normal dip.
_STRESSOR: Final = math.exp(2 * _PRIORS.stressor_dip.mean + 2 * _PRIORS.stressor_dip.sd**2)


def expected(night: dt.date, sensor: str, history: History) -> f.Foreseen:
    """Return what a night's reading is expected to be, from the athlete's own readings near it.

    Args:
        night: its date.
        sensor: what it is read with; one that none of the others was read with may add a step.
        history: what is logged; a reading of this very night does not count.
    """
    return _by_own(*_near(night, sensor, history))


def unlikely(
    row: ReadingRow, history: History, foreseen: f.Foreseen | None = None
) -> Iterator[Reason]:
    """Yield the reason where a reading lies too far from what was foreseen.

    Args:
        row: the reading.
        history: what else is logged.
        foreseen: the model's forecast for that morning; from the athlete's own readings where it
            is left out.
    """
    value = ln_of(row)
    if foreseen is None:
        near = _near(row.date, row.sensor, history)
        chance = _chance_by_own(value, *near)
    else:
        chance = foreseen.chance(value)
    if chance >= f.ASKED_BELOW:
        return
    foreseen = foreseen or expected(row.date, row.sensor, history)
    entered = row.rmssd_ms if row.rmssd_ms is not None else math.exp(value)
    slip, meant = likeliest(of_a_reading(entered), foreseen) or ("", None)
    yield Reason(
        "unlikely reading",
        column="rmssd_ms" if row.rmssd_ms is not None else "ln_rmssd",
        date=str(row.date),
        ms=entered,
        expected_ms=math.exp(foreseen.median),
        low_ms=math.exp(foreseen.quantile(f.LIKELY / 2)),
        high_ms=math.exp(foreseen.quantile(1 - f.LIKELY / 2)),
        chance=chance,
        basis=foreseen.basis,
        slip=slip,
        meant_ms=meant,
    )


def _near(night: dt.date, sensor: str, history: History) -> tuple[tuple[float, ...], int, float]:
    """Return the readings near a night, the days to the nearest, and the variance beyond theirs."""
    near = history.nights_about(night)
    days = abs((night - near[0]).days) if near else 0
    more = _STRESSOR if night - DAY in history.stressed else 0.0
    if near and all(history.sensors[other] != sensor for other in near):
        more += _SENSOR_STEP
    return tuple(history.readings_of(near)), days, more


# With each line that is logged all readings are judged again, most of them by the same others.
@lru_cache(_JUDGED)
def _chance_by_own(value: float, near: tuple[float, ...], days: int, more: float) -> float:
    return _by_own(near, days, more).chance(value)


def _by_own(near: tuple[float, ...], days: int, more: float) -> f.Foreseen:
    return f.from_own("own readings", near, _PRIOR, days, more)
