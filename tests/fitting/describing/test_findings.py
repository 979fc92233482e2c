"""Findings: the most unlikely look of each group, the most unlikely group first."""

from __future__ import annotations

from typing import Any

import numpy as np

from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.describing.findings import findings
from slackwater.fitting.describing.held import AfterSession, Held, Night, OnWeekday, Sides
from slackwater.model.errors import Reason


def look(z: float) -> dict[str, Any]:
    return {"z": z, "chance": 0.001 / abs(z), "departs": abs(z) > 3}


def number(z: float, value: float) -> dict[str, Any]:
    return look(z) | {"value": Interval(value, value, value), "by_chance": Interval(0, 0, 0)}


def on(weekday: str, z: float, value: float = -8.0) -> OnWeekday:
    return OnWeekday(**number(z, value), weekday=weekday, readings=20)


def after(label: str | None, z: float) -> AfterSession:
    return AfterSession(**number(z, 5.0), first_night=3, last_night=5, readings=9, type=label)


QUIET: dict[str, Any] = {
    "lag_1_autocorrelation": Held(**number(1, 0.1)),
    "by_weekday": (on("Monday", 1.0), on("Tuesday", -2.0)),
    "by_nights_since_session": (),
    "by_type": (after("row", 1.0),),
    "scatter_later_over_earlier": Held(**number(1, 1.1)),
    "far_nights": Sides(**look(1.0), low=1, high=1),
    "furthest": Night(**look(1.0), date=np.datetime64("2031-04-02")),
    "low_stretch": Night(**look(1.0), date=np.datetime64("2031-04-02")),
    "dose_power": None,
}


def test_a_season_as_modelled_has_none() -> None:
    assert findings(QUIET) == ()


def test_each_group_tells_the_most_unlikely_and_the_most_unlikely_group_is_first() -> None:
    facts = QUIET | {
        "by_weekday": (on("Monday", 3.5, 9.0), on("Sunday", -4.0), on("Friday", 2.0)),
        "by_type": (after("row", 6.0), after("hill", 3.1)),
    }
    assert findings(facts) == (
        Reason("after a session off", first=3, last=5, type="row", percent=5.0),
        Reason("weekday lies off", weekday="Sunday", percent=-8.0),
    )


def test_every_group_has_its_reason() -> None:
    facts = QUIET | {
        "lag_1_autocorrelation": Held(**number(3.9, 0.4)),
        "by_weekday": (on("Sunday", 3.8),),
        "by_nights_since_session": (after(None, 3.7),),
        "by_type": (after("row", 3.6),),
        "scatter_later_over_earlier": Held(**number(3.5, 1.6)),
        "far_nights": Sides(**look(-3.4), low=7, high=1),
        "furthest": Night(**look(3.3), date=np.datetime64("2031-04-02")),
        "low_stretch": Night(**look(3.2), date=np.datetime64("2031-04-03")),
        "dose_power": Held(**number(-3.1, 0.5)),
    }
    assert [(reason.code, reason.facts) for reason in findings(facts)] == [
        ("nights linger", {"correlation": 0.4}),
        ("weekday lies off", {"weekday": "Sunday", "percent": -8.0}),
        ("after a session off", {"first": 3, "last": 5, "type": None, "percent": 5.0}),
        ("after a session off", {"first": 3, "last": 5, "type": "row", "percent": 5.0}),
        ("scatter changed", {"ratio": 1.6}),
        ("far nights uneven", {"low": 7, "high": 1, "lower": True}),
        ("one night far off", {"date": "2031-04-02"}),
        ("nights low in a row", {"date": "2031-04-03"}),
        ("dose counts otherwise", {"times": 2**0.5}),
    ]
    alternate = findings(QUIET | {"lag_1_autocorrelation": Held(**number(-4, -0.3))})
    assert alternate == (Reason("nights alternate", correlation=-0.3),)
