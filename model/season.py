"""The season: what was observed, as one immutable object.

The clock, written once. A reading carries the date of the morning on which its night
ended. A session, an intervention or a stressor dated d acts on the night that ends on
the morning of d + 1, so the first reading that can show it is dated d + 1.

A season's night axis is every calendar day from its first night to its last reading,
read or not. It starts at the first reading, or up to `LEAD_IN_DAYS` earlier where
sessions or stressors were logged before it.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.errors import SeasonError
from slackwater.model.rows import DAY as DAY
from slackwater.model.rows import LEAD_IN_DAYS as LEAD_IN_DAYS
from slackwater.model.rows import THE_SENSOR as THE_SENSOR
from slackwater.model.rows import Rows, days


@dataclass(frozen=True)
class Season:
    """One athlete's readings and all that was logged beside them.

    Attributes:
        name: the season's name, as answers show it.
        data: dimensions `night` (N), `session` (I), `type` (K), `attribute` (A),
            `sensor` (S), and one list each of applied interventions and of stressor
            days. `log_rmssd` (night) is in ln ms, NaN where the night was not read;
            `reading_ln_sd` (night) is how exactly it was measured, as a standard error,
            0 where that is not known.
            Arrays are read-only.
        threshold_percent: the smallest dip worth acting on, in percent of the reading, where the
            athlete fixed it; None for what the nights themselves say.
    """

    name: str
    data: xr.Dataset
    threshold_percent: float | None = None
    _through: dict[np.datetime64, Season] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @classmethod
    def from_tables(
        cls,
        name: str,
        readings: pd.DataFrame,
        sessions: pd.DataFrame | None = None,
        types: pd.DataFrame | None = None,
        interventions: pd.DataFrame | None = None,
        stressors: pd.DataFrame | None = None,
        levels: pd.DataFrame | None = None,
    ) -> Season:
        """Build a season from tables with the columns of the season folder's files.

        Args:
            name: the season's name.
            readings: `date` and `rmssd_ms` (ms, above 0) or `log_rmssd` (ln ms);
                optional `sensor`, `ln_sd` (standard error of ln RMSSD, 0 or more).
            sessions: `date`, `type`; optional `dose` (1 = usual).
            types: `type`, then one column an attribute.
            interventions: `date`, `intervention`.
            stressors: `date`, `stressor`.
            levels: `date` of each morning from which on readings lie at a new level.

        Raises:
            SeasonError: no reading, a date or a label missing, a date twice, a value out of
                range, a type twice.
        """
        rows = Rows.of_tables(readings, sessions, types, interventions, stressors, levels)
        return cls(name, _freeze(rows.by_night()))

    @cached_property
    def nights(self) -> NDArray[np.datetime64]:
        """Dates of every night, shape (N,), datetime64[D]."""
        return _read_only(days(self.data[n.NIGHT].values))

    @property
    def first_night(self) -> np.datetime64:
        """Date of the first night on the axis."""
        return np.datetime64(self.nights[0])

    @property
    def last_night(self) -> np.datetime64:
        """Date of the last reading."""
        return np.datetime64(self.nights[-1])

    @property
    def types(self) -> list[str]:
        """The session types, in order."""
        return [str(t) for t in self.data[n.TYPE].values]

    @property
    def attributes(self) -> list[str]:
        """The attribute columns of the types."""
        return [str(a) for a in self.data[n.ATTRIBUTE].values]

    @property
    def interventions(self) -> list[str]:
        """The recovery measures, in order."""
        return [str(i) for i in self.data[n.INTERVENTION].values]

    @property
    def stressors(self) -> list[str]:
        """The kinds of stressor, in order."""
        return [str(s) for s in self.data[n.STRESSOR].values]

    @property
    def sensors(self) -> list[str]:
        """The sensors, in the order in which they came into use."""
        return [str(s) for s in self.data[n.SENSOR].values]

    @cached_property
    def read(self) -> NDArray[np.bool_]:
        """Which nights have a reading, shape (N,)."""
        return _read_only(np.isfinite(self.data[n.LOG_RMSSD].values))

    @property
    def reading_ln_sd(self) -> NDArray[np.float64]:
        """How exactly each night was measured: standard error of ln RMSSD, shape (N,)."""
        return np.asarray(self.data[n.READING_LN_SD].values, float)

    def session_nights(self) -> NDArray[np.int64]:
        """Index of the night each session is first felt on, shape (I,).

        Below 0 or at N and above where that night is not on the axis.
        """
        return self._first_felt(self.data[n.SESSION_DATE].values)

    def stressor_nights(self) -> NDArray[np.int64]:
        """Index of the night each stressor day is first felt on."""
        return self._first_felt(self.data[n.STRESSOR_DATE].values)

    def level_nights(self) -> NDArray[np.int64]:
        """Index of the night whose reading is the first at each new level, shape (L,)."""
        return self._first_felt(self.data[n.NEW_LEVEL].values) - 1

    def applied(self, nights: NDArray[np.datetime64] | None = None) -> NDArray[np.bool_]:
        """Say which intervention acts on which night, shape (interventions, nights)."""
        nights = self.nights if nights is None else days(nights)
        dates = days(self.data[n.APPLIED].values) + DAY
        labels = self.data["applied_intervention"].values
        acts = np.zeros((len(self.interventions), len(nights)), bool)
        for row, label in enumerate(self.interventions):
            acts[row] = np.isin(nights, dates[labels == label])
        return acts

    def observed(self) -> Season:
        """Return what the readings up to the last one can tell of."""
        return self.through(self.last_night)

    def through(self, night: np.datetime64) -> Season:
        """Return what could be seen by the morning of `night`.

        Readings up to that date, and only those sessions, interventions and stressors
        that act on a night of the axis by then; types without such a session go.

        Raises:
            SeasonError: no reading by then.
        """
        if night not in self._through:  # asked for by many answers, and costly
            seen = self._as_seen(night)
            seen._through[seen.last_night] = seen
            self._through[night] = seen
        return self._through[night]

    def take_over(self, before: Season, night: np.datetime64) -> None:
        """Take over what could be seen by a night, from a season that agrees up to it.

        Args:
            before: the same season before something later than that night was logged.
            night: the night.
        """
        if night in before._through and before.threshold_percent == self.threshold_percent:
            self._through[night] = before._through[night]

    def _as_seen(self, night: np.datetime64) -> Season:
        rows = self._rows.through(night, self.first_night)
        if rows is None:
            raise SeasonError(f"Season {self.name!r} has no reading by {night}.")
        return Season(self.name, _freeze(rows.by_night()), self.threshold_percent)

    @cached_property
    def _rows(self) -> Rows:
        return Rows.of_data(self.data)

    def with_readings(self, log_rmssd: NDArray[np.float64]) -> Season:
        """Return the same season with other readings, shape (N,), NaN where not read."""
        values = np.array(log_rmssd, float)
        attrs = self.data[n.LOG_RMSSD].attrs
        data = _freeze(self.data.assign({n.LOG_RMSSD: (n.NIGHT, values, attrs)}))
        return Season(self.name, data, self.threshold_percent)

    def fingerprint(self) -> str:
        """Return a hash of all that the season holds, its name left out."""
        return self._fingerprint

    @cached_property
    def _fingerprint(self) -> str:
        digest = hashlib.sha256()
        for key, table in self.tables().items():
            rows = table.copy()
            if "date" in rows:
                rows["date"] = [str(d) for d in days(rows["date"].to_numpy())]
            lines = sorted(json.dumps(row) for row in rows.to_numpy().tolist())
            digest.update(json.dumps([key, list(rows.columns), lines]).encode())
        return digest.hexdigest()

    def _first_felt(self, dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
        return np.asarray((days(dates) + DAY - self.first_night) / DAY, np.int64)

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return the season as the tables that `from_tables` builds it from again."""
        return self._rows.tables()


def weekdays(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return the day of the week of each date, Monday 0."""
    thursdays = np.datetime64("1970-01-01")  # the calendar's own 0 is one
    return np.asarray((days(dates) - thursdays).astype(np.int64) + 3) % 7


def _read_only(values: NDArray[Any]) -> NDArray[Any]:
    values.flags.writeable = False
    return values


def _freeze(data: xr.Dataset) -> xr.Dataset:
    for name in data.data_vars:
        data[name].values.flags.writeable = False
    return data
