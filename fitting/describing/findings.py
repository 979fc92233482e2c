"""What departs from the model, as reasons: the most unlikely of each group of looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from slackwater.fitting.describing.held import (
    AfterSession,
    Held,
    Look,
    Night,
    OnWeekday,
    Sides,
)
from slackwater.model.errors import Reason


def findings(facts: Mapping[str, Any]) -> tuple[Reason, ...]:
    """Return what departs, the most unlikely first.

    Args:
        facts: what the looks found, by the fields of the answer "residuals".
    """
    said = []
    for group, make in _SAID.items():
        departing = [look for look in _each(facts[group]) if look.departs]
        if departing:
            worst = max(departing, key=lambda look: abs(look.z))
            said.append((worst.chance, make(worst)))
    return tuple(reason for _, reason in sorted(said, key=lambda item: item[0]))


def _each(found: Look | Iterable[Look] | None) -> list[Look]:
    if found is None:
        return []
    return [found] if isinstance(found, Look) else [*found]


def _lag_1(found: Held) -> Reason:
    value = found.value.median
    if value > 0:
        return Reason("nights linger", correlation=value)
    return Reason("nights alternate", correlation=value)


def _weekday(found: OnWeekday) -> Reason:
    return Reason("weekday lies off", weekday=found.weekday, percent=found.value.median)


def _after(found: AfterSession) -> Reason:
    return Reason(
        "after a session off",
        first=found.first_night,
        last=found.last_night,
        type=found.type,
        percent=found.value.median,
    )


def _scatter(found: Held) -> Reason:
    return Reason("scatter changed", ratio=found.value.median)


def _far_nights(found: Sides) -> Reason:
    return Reason("far nights uneven", low=found.low, high=found.high, lower=found.z < 0)


def _furthest(found: Night) -> Reason:
    return Reason("one night far off", date=str(found.date))


def _low_stretch(found: Night) -> Reason:
    return Reason("nights low in a row", date=str(found.date))


def _dose(found: Held) -> Reason:
    return Reason("dose counts otherwise", times=2**found.value.median)


_SAID: Final[Mapping[str, Callable[[Any], Reason]]] = {
    "lag_1_autocorrelation": _lag_1,
    "by_weekday": _weekday,
    "by_nights_since_session": _after,
    "by_type": _after,
    "scatter_later_over_earlier": _scatter,
    "far_nights": _far_nights,
    "furthest": _furthest,
    "low_stretch": _low_stretch,
    "dose_power": _dose,
}
