"""Numbers as a person says them."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Unexplained
from slackwater.fitting.answers.intervals import Interval, interval_of
from slackwater.fitting.state.back import FOUR_IN_FIVE
from slackwater.fitting.text import MONTHS, plural, weekday

LONG: Final = 60.0
USUAL_THRESHOLD: Final = "half the night-to-night standard deviation of an ordinary night"
WHERE_LOWER: Final = (
    "Do nothing hard until it has passed. Check the sensor and how it is worn, illness, sleep, "
    "travel, and stressors that are not logged. Log what it was as a stressor; if it is a level "
    "that stays, write its first date into levels.csv."
)
Bounds = Interval | xr.DataArray  # an interval by itself, or one of many


def triple(values: Bounds) -> Interval:
    """Return an interval's low, median and high."""
    return values if isinstance(values, Interval) else interval_of(values)


def days_range(values: Bounds) -> str:
    """Return an interval in days with one decimal: "4.2 (3.1 to 6.0)"."""
    low, median, high = triple(values)
    return f"{in_days(median)} ({in_days(low)} to {in_days(high)})"


def tight(values: Bounds) -> str:
    """Return an interval in days for a narrow column: "4.2 (3.1–6.0)"."""
    low, median, high = (in_days(value).replace("over ", ">") for value in triple(values))
    return f"{median} ({low}–{high})"


def back(date: np.datetime64 | None, night: np.datetime64, how: str) -> str:
    """Say from when on the athlete is back at baseline, by the one rule for a single date.

    Args:
        date: that morning; None where there is none within 60 days.
        night: the last reading's morning.
        how: what is done until then, such as "if you rest".
    """
    enough = f"the chance of it is {chance(FOUR_IN_FIVE)} or more"
    if date is None:
        return f"Back at baseline only after more than 60 days, {how}."
    if date == night:
        return f"At baseline this morning: {enough}."
    days = plural(int((date - night).astype(int)), "day")
    return f"Back at baseline from {day_name(str(date))} on, {how}: in {days} {enough}."


def milliseconds(values: Bounds) -> str:
    """Return an interval in ms: "62 ms (55 to 70)"."""
    low, median, high = triple(values)
    return f"{median:.0f} ms ({low:.0f} to {high:.0f})"


def signed_range(values: Bounds, decimals: int, unit: str = "") -> str:
    """Return an interval of differences: "+1.5 (+0.4 to +3.0)"; the unit follows the first."""
    return f"{signed(triple(values).median, decimals)}{unit} ({signed_ends(values, decimals)})"


def signed_ends(values: Bounds, decimals: int) -> str:
    """Return the ends of an interval of differences: "+0.4 to +3.0"."""
    low, _, high = triple(values)
    return f"{signed(low, decimals)} to {signed(high, decimals)}"


def percent_change(values: Bounds) -> str:
    """Return what is added in ln units, in percent: "-10 % (-14 to -6)"."""
    low, median, high = (signed(-percent_off(-value), 0) for value in triple(values))
    return f"{median} % ({low} to {high})"


def signed(value: float, decimals: int) -> str:
    """Return a number with its sign, and 0 without one."""
    shown = f"{value:+.{decimals}f}"
    return shown[1:] if float(shown) == 0 else shown.replace("-", "\u2212")


def percent_dip(values: Bounds) -> str:
    """Return a dip in ln units as what it takes off the reading: "18 % (14 to 23)"."""
    low, median, high = (percent_off(v) for v in triple(values))
    return f"{median:.0f} % ({low:.0f} to {high:.0f})"


def unexplained(found: Unexplained | None) -> list[str]:
    """Return sentences about what holds readings down and is not in the log, if anything does."""
    if found is None:
        return []
    most, middle, least = (-end for end in found.percent)
    return [
        f"Since {day_name(str(found.since))} readings lie at a level about {middle:.0f} % "
        f"({least:.0f} to {most:.0f}) lower than before, and the log does not explain it "
        f"({plural(found.nights, 'night')} by now).",
        WHERE_LOWER,
    ]


def percent_off(dip: float) -> float:
    """Return what a dip in ln units takes off the reading, in percent."""
    return -100 * math.expm1(-dip)


def threshold(percent: float | None) -> str:
    """Return a threshold that was fixed in percent, or the usual one, in words."""
    return USUAL_THRESHOLD if percent is None else f"{percent:g} %"


def tight_dip(values: Bounds) -> str:
    """Return the same for a narrow column: "18 % (14–23)"."""
    low, median, high = (percent_off(v) for v in triple(values))
    return f"{median:.0f} % ({low:.0f}–{high:.0f})"


def ratio(values: Bounds) -> str:
    """Return a ratio with its interval: "1.4 times (1.1 to 1.7)"."""
    low, median, high = triple(values)
    return f"{median:.2f} times ({low:.2f} to {high:.2f})"


def ratio_known(log_sd: float) -> str:
    """Return how well a ratio is known, from its log's SD: "\u00b1 17.1 %"."""
    return f"\u00b1 {100 * math.expm1(log_sd):.1f} %"


def chance(share: float) -> str:
    """Return a chance in whole percent, never 0 or 100."""
    if share < 0.005:
        return "under 1 %"
    if share > 0.995:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def out_of_ten(level: float) -> str:
    """Return what "likely" means at this level."""
    tenths = level * 10
    if math.isclose(tenths, round(tenths)):
        return f"{round(tenths)} times in 10"
    return f"{100 * level:g} times in 100"


def short_date(date: str) -> str:
    """Return an ISO date as a scale has it: "6 Jul"."""
    day = dt.date.fromisoformat(date)
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def short_day(date: str) -> str:
    """Return an ISO date as a narrow column has it: "Sun 6 Jul"."""
    return f"{weekday(date)[:3]} {short_date(date)}"


def sentence(text: str) -> str:
    """Return words as a sentence: a capital first, a full stop last."""
    return f"{capital(text).rstrip('.')}."


def capital(text: str) -> str:
    """Return words with a capital first, the rest as it is."""
    return text[:1].upper() + text[1:]


def day_name(date: str) -> str:
    """Return an ISO date as a person says it: "Sunday 6 July"."""
    day = dt.date.fromisoformat(date)
    return f"{weekday(day)} {day.day} {MONTHS[day.month - 1]}"


def in_days(value: float) -> str:
    """Return a number of days with one decimal, and 0 without a sign."""
    if value >= LONG:
        return f"over {LONG:.0f}"
    shown = f"{value:.1f}"
    return "0.0" if shown == "-0.0" else shown


def verdict(found: str) -> str:
    """Return a verdict on a measure: "faster with it", "undecided"."""
    return f"{found} with it" if found in ("faster", "slower") else found


def rate_change(values: Bounds) -> str:
    """Return a rate ratio's range as a person says it: "from 27 % slower to 2 % faster"."""
    low, _, high = triple(values)
    ends = [_rate_change(low), _rate_change(high)]
    if all(end.endswith("faster") for end in ends) or all(end.endswith("slower") for end in ends):
        ends.sort(key=lambda end: int(end.split()[0]))
        ends[0] = ends[0].rsplit(" ", 1)[0]  # "22 %", of "22 % faster"
    return f"from {ends[0]} to {ends[1]}"


def _rate_change(ratio: float) -> str:
    percent = round(100 * (ratio - 1))
    if not percent:
        return "no change"
    return f"{abs(percent)} % {'faster' if percent > 0 else 'slower'}"
