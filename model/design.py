"""From a season to the arrays that the model is written in.

Groups are what shares a recovery rate: first the session types, then the stressors, then
the unlogged start, then what is perhaps not logged. Events are what dips the state once: first the
unlogged start, then the sessions, then the stressor days, then each night of a long gap.

Whoever trains every second day and logs nothing for five has rested, or forgot an entry. Taken for
rest, a forgotten session lowers the very nights that tell baseline, and dips come out too small.
So each night of a gap that is longer than usual may hold a dip of its own, about which the readings
decide. Gaps longer than one forgotten session leaves are taken as rest, and so are those that a
stressor explains.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.season import DAY, Season, weekdays
from slackwater.model.trend import step_weights, steps_over

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FEWEST: Final = 10  # gaps, to say what is usual
USUAL: Final = 0.9  # share of gaps that are usual
FORGOTTEN: Final = 2  # usual gaps that one session too few makes one of


class Design(NamedTuple):
    """The observed part of a season, as arrays.

    N nights, R readings, I sessions, K types, P stressors, Q stressor days, J interventions, V
    attribute values, S sensors but the latest, H steps of recovery's own trend, U nights of long
    gaps; E = 1 + I + Q + U events, G = K + P + 1 groups, and one more if U > 0.

    Attributes:
        readings: ln RMSSD, shape (R,).
        reading_nights: index of the night of each reading, shape (R,).
        reading_ln_sd: how exactly each was measured, shape (R,); see `Season`.
        event_nights: first night of each event, shape (E,).
        event_groups: group of each event, shape (E,).
        session_types: type of each session, shape (I,).
        dose: dose of each session, shape (I,).
        unlogged_nights: nights of long gaps in the log, shape (U,); see `long_gaps`.
        stressor_labels: stressor of each stressor day, shape (Q,).
        attribute_values: names such as "effort: hard", length V.
        type_has_value: which type has which value, shape (K, V).
        applied: which intervention acts on which night, shape (J, N).
        by_sensor: 1 where the reading is by that other sensor, shape (R, S).
        by_weekday: 1 where the reading is of that day of the week, less a week's mean, (R, 7).
        trend: how much of each step lies between a night and the last, shape (N, H).
    """

    readings: Floats
    reading_nights: Ints
    reading_ln_sd: Floats
    event_nights: Ints
    event_groups: Ints
    session_types: Ints
    dose: Floats
    unlogged_nights: Ints
    stressor_labels: Ints
    attribute_values: list[str]
    type_has_value: Floats
    applied: Floats
    by_sensor: Floats
    by_weekday: Floats
    trend: Floats


def design_of(season: Season) -> Design:
    """Return the arrays of a season that holds only what its readings can show.

    Args:
        season: the result of `Season.observed` or `Season.through`.
    """
    data = season.data
    types = _index(data[n.SESSION_TYPE].values, season.types)
    stressors = _index(data[n.STRESSOR_LABEL].values, season.stressors)
    values, type_has_value = _attribute_values(season)
    n_types, n_stressors = len(season.types), len(season.stressors)
    start, unlogged = n_types + n_stressors, long_gaps(season).every_night
    latest = season.sensors.index(_sensor_of_last_reading(season))
    sensor = data[n.NIGHT_SENSOR].values[season.read]
    others = [s for s in range(len(season.sensors)) if s != latest]
    nights = len(season.nights)
    return Design(
        readings=data[n.LOG_RMSSD].values[season.read],
        reading_nights=np.flatnonzero(season.read),
        reading_ln_sd=season.reading_ln_sd[season.read],
        event_nights=np.concatenate(
            [[0], season.session_nights(), season.stressor_nights(), unlogged]
        ),
        event_groups=np.concatenate(
            [[start], types, n_types + stressors, np.full(len(unlogged), start + 1)]
        ),
        session_types=types,
        dose=data[n.DOSE].values,
        unlogged_nights=unlogged,
        stressor_labels=stressors,
        attribute_values=values,
        type_has_value=type_has_value,
        applied=season.applied().astype(float),
        by_sensor=(sensor[:, None] == np.array(others, int)).astype(float),
        by_weekday=of_weekday(season.nights[season.read]),
        trend=step_weights(np.arange(nights)[::-1], steps_over(nights) if types.size else 0),
    )


def other_sensors(season: Season) -> list[str]:
    """Return the sensors but the latest, whose readings are the reference."""
    latest = _sensor_of_last_reading(season)
    return [s for s in season.sensors if s != latest]


def of_weekday(nights: NDArray[np.datetime64]) -> Floats:
    """Return 1 where a night is of that day of the week, less the mean over a week, (N, 7).

    So what the days of a week add is 0 in the mean, and baseline is the mean over the week.
    """
    return np.asarray((weekdays(nights)[:, None] == np.arange(7)) - 1 / 7)


def _sensor_of_last_reading(season: Season) -> str:
    return season.sensors[int(season.data[n.NIGHT_SENSOR].values[-1])]


def _index(labels: NDArray[np.str_], among: list[str]) -> Ints:
    return np.array([among.index(str(label)) for label in labels], dtype=np.int64)


def _attribute_values(season: Season) -> tuple[list[str], Floats]:
    """Return the attribute values that types can be pooled by.

    An attribute counts where it has at least two values and one of them is shared by two
    types: any other adds nothing that a type's own deviation does not say.
    """
    given = season.data[n.TYPE_ATTRIBUTE].values
    names: list[str] = []
    columns: list[NDArray[np.bool_]] = []
    for column, attribute in enumerate(season.attributes):
        values = [str(v) for v in dict.fromkeys(given[:, column]) if v]
        shared = any((given[:, column] == v).sum() > 1 for v in values)
        if len(values) > 1 and shared:
            names += [f"{attribute}: {v}" for v in values]
            columns += [given[:, column] == v for v in values]
    matrix = np.array(columns, float).reshape(len(names), len(season.types))
    return names, matrix.T


class Gaps(NamedTuple):
    """The gaps of a log in which a session may be missing.

    Attributes:
        usual: the longest that is usual, days.
        nights: index of the first and the last night on which a session would be felt that was
            done in between, shape (M, 2).
    """

    usual: int
    nights: NDArray[np.int64]

    def told(self, season: Season) -> list[Reason]:
        """Return what to say of each, the days on which nothing is logged."""
        days = season.nights[self.nights] - DAY
        return [
            Reason("a gap longer than usual", first=str(first), last=str(last), usual=self.usual)
            for first, last in days
        ]

    @property
    def every_night(self) -> NDArray[np.int64]:
        """Index of each of these nights, ascending."""
        spans = [np.arange(first, last + 1) for first, last in self.nights]
        return np.concatenate([np.zeros(0, np.int64), *spans])


def long_gaps(season: Season) -> Gaps:
    """Return the gaps of a log that are longer than is usual for it.

    Args:
        season: the result of `Season.observed` or `Season.through`.
    """
    felt = np.unique(np.concatenate([season.session_nights(), season.stressor_nights()]))
    felt = felt[(felt >= 0) & (felt < len(season.nights))]
    days = np.diff(felt)
    if len(days) < FEWEST or not season.types:
        return Gaps(0, np.zeros((0, 2), np.int64))
    usual = int(np.quantile(days, USUAL, method="higher"))
    long = (days > usual) & (days <= FORGOTTEN * usual)
    return Gaps(usual, np.stack([felt[:-1][long] + 1, felt[1:][long] - 1], axis=1))
