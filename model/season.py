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
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.errors import SeasonError

LEAD_IN_DAYS: Final = 14
DAY: Final = np.timedelta64(1, "D")
THE_SENSOR: Final = "sensor"  # the label where readings name none

READING_COLUMNS: Final = ["date", "log_rmssd", "sensor"]
SESSION_COLUMNS: Final = ["date", "type", "dose"]

_VARIABLE_ATTRS: Final[dict[str, dict[str, str]]] = {
    n.LOG_RMSSD: {"units": "ln ms", "long_name": "natural log of the night's RMSSD"},
    n.READING_LN_SD: {"units": "1", "long_name": "standard error of log_rmssd as measured"},
    n.NIGHT_SENSOR: {"units": "1", "long_name": "index of the night's sensor"},
    n.SESSION_DATE: {"long_name": "calendar day of the session"},
    n.SESSION_TYPE: {"long_name": "session type"},
    n.DOSE: {"units": "1", "long_name": "dose, 1 = that type's usual session"},
    n.TYPE_ATTRIBUTE: {"long_name": "value of an attribute, empty where not given"},
}


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
    """

    name: str
    data: xr.Dataset
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
        reading_table = _reading_table(readings)
        session_table = _session_table(sessions)
        applied = _day_table(interventions, "intervention")
        stressor_days = _day_table(stressors, "stressor")
        return cls(
            name,
            _freeze(
                _assemble(
                    reading_table,
                    session_table,
                    _type_table(types, session_table),
                    applied,
                    stressor_days,
                    _level_days(levels),
                )
            ),
        )

    @cached_property
    def nights(self) -> NDArray[np.datetime64]:
        """Dates of every night, shape (N,), datetime64[D]."""
        return _read_only(_days(self.data[n.NIGHT].values))

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
        nights = self.nights if nights is None else _days(nights)
        dates = _days(self.data[n.APPLIED].values) + DAY
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
        if night in before._through:
            self._through[night] = before._through[night]

    def _as_seen(self, night: np.datetime64) -> Season:
        tables = self.tables()
        tables["readings"] = tables["readings"][tables["readings"]["date"] <= night]
        if tables["readings"].empty:
            raise SeasonError(f"Season {self.name!r} has no reading by {night}.")
        last = tables["readings"]["date"].max()  # where the axis will end
        tables["levels"] = tables["levels"][tables["levels"]["date"] <= last]
        for key in ("sessions", "interventions", "stressors"):
            dates = tables[key]["date"]
            felt = (dates < last) & (dates >= self.first_night - DAY)
            tables[key] = tables[key][felt]
        done = tables["sessions"]["type"].unique()
        tables["types"] = tables["types"][tables["types"]["type"].isin(done)]
        return Season.from_tables(self.name, **tables)

    def with_readings(self, log_rmssd: NDArray[np.float64]) -> Season:
        """Return the same season with other readings, shape (N,), NaN where not read."""
        values = np.array(log_rmssd, float)
        attrs = self.data[n.LOG_RMSSD].attrs
        return Season(self.name, _freeze(self.data.assign({n.LOG_RMSSD: (n.NIGHT, values, attrs)})))

    def fingerprint(self) -> str:
        """Return a hash of all that the season holds, its name left out."""
        return self._fingerprint

    @cached_property
    def _fingerprint(self) -> str:
        digest = hashlib.sha256()
        for key, table in self.tables().items():
            rows = table.copy()
            if "date" in rows:
                rows["date"] = [str(d) for d in _days(rows["date"].to_numpy())]
            lines = sorted(json.dumps(row) for row in rows.to_numpy().tolist())
            digest.update(json.dumps([key, list(rows.columns), lines]).encode())
        return digest.hexdigest()

    def _first_felt(self, dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
        return np.asarray((_days(dates) + DAY - self.first_night) / DAY, np.int64)

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return the season as the tables that `from_tables` builds it from again."""
        d = self.data
        read = self.read
        sensors = d[n.SENSOR].values[d[n.NIGHT_SENSOR].values]
        types = pd.DataFrame({"type": d[n.TYPE].values.astype(object)})
        for column, name in enumerate(self.attributes):
            types[name] = d[n.TYPE_ATTRIBUTE].values[:, column].astype(object)
        return {
            "readings": pd.DataFrame(
                {
                    "date": self.nights[read],
                    "log_rmssd": d[n.LOG_RMSSD].values[read],
                    "ln_sd": d[n.READING_LN_SD].values[read],
                    "sensor": sensors[read].astype(object),
                }
            ),
            "sessions": pd.DataFrame(
                {
                    "date": _days(d[n.SESSION_DATE].values),
                    "type": d[n.SESSION_TYPE].values.astype(object),
                    "dose": d[n.DOSE].values,
                }
            ),
            "types": types,
            "interventions": pd.DataFrame(
                {
                    "date": _days(d[n.APPLIED].values),
                    "intervention": d["applied_intervention"].values.astype(object),
                }
            ),
            "stressors": pd.DataFrame(
                {
                    "date": _days(d[n.STRESSOR_DATE].values),
                    "stressor": d[n.STRESSOR_LABEL].values.astype(object),
                }
            ),
            "levels": pd.DataFrame({"date": _days(d[n.NEW_LEVEL].values)}),
        }


def _days(dates: object) -> NDArray[np.datetime64]:
    return np.asarray(dates, dtype="datetime64[ns]").astype("datetime64[D]")


def _dates(table: pd.DataFrame, what: str) -> NDArray[np.datetime64]:
    days = _days(table["date"].to_numpy())
    if np.any(np.isnat(days)):
        raise SeasonError(f"A row for a {what} has no date; fill it in or leave the row out.")
    return days


def _labels(table: pd.DataFrame, column: str) -> NDArray[np.object_]:
    labels = table[column].astype(object).fillna("").astype(str).to_numpy(object)
    if np.any(labels == ""):
        raise SeasonError(f"A row has no {column}; name it or leave the row out.")
    return labels


def _reading_table(readings: pd.DataFrame) -> pd.DataFrame:
    table = pd.DataFrame({"date": _dates(readings, "reading")})
    if "log_rmssd" in readings:
        table["log_rmssd"] = readings["log_rmssd"].to_numpy(float)
    else:
        rmssd = readings["rmssd_ms"].to_numpy(float)
        if np.any(~(rmssd > 0)):
            raise SeasonError("A reading's RMSSD must be above 0 ms; leave out missing nights.")
        table["log_rmssd"] = np.log(rmssd)
    table["ln_sd"] = readings["ln_sd"].fillna(0.0).to_numpy(float) if "ln_sd" in readings else 0.0
    sensor = readings["sensor"] if "sensor" in readings else pd.Series([], dtype=object)
    labels = sensor.reindex(readings.index).fillna(THE_SENSOR).replace("", THE_SENSOR)
    table["sensor"] = labels.to_numpy(object)
    if table.empty:
        raise SeasonError("A season needs at least one reading.")
    if not np.all(np.isfinite(table["log_rmssd"])):
        raise SeasonError("A reading is not a finite number; leave out missing nights.")
    if not np.all((table["ln_sd"] >= 0) & np.isfinite(table["ln_sd"])):
        raise SeasonError("A reading's ln_sd must be 0 or more; leave it empty where not known.")
    _refuse_twice(table, ["date"], "reading")
    return table.sort_values("date", ignore_index=True)


def _session_table(sessions: pd.DataFrame | None) -> pd.DataFrame:
    if sessions is None or sessions.empty:
        return pd.DataFrame(
            {
                "date": np.array([], "datetime64[D]"),
                "type": np.array([], object),
                "dose": np.array([], float),
            }
        )
    dose = sessions["dose"].fillna(1.0).to_numpy(float) if "dose" in sessions else 1.0
    table = pd.DataFrame(
        {
            "date": _dates(sessions, "session"),
            "type": _labels(sessions, "type"),
            "dose": dose,
        }
    )
    if not np.all((table["dose"] > 0) & np.isfinite(table["dose"])):
        raise SeasonError("A session's dose must be finite and above 0; 1 is that type's usual.")
    return table.sort_values(["date", "type"], ignore_index=True)


def _type_table(types: pd.DataFrame | None, sessions: pd.DataFrame) -> pd.DataFrame:
    given = pd.DataFrame({"type": []}) if types is None else types.fillna("").astype(str)
    _refuse_twice(given, ["type"], "type")
    extra = [t for t in dict.fromkeys(sessions["type"]) if t not in set(given["type"])]
    both = pd.concat([given, pd.DataFrame({"type": sorted(extra)})], ignore_index=True)
    return both.fillna("").astype(object)


def _day_table(table: pd.DataFrame | None, label: str) -> pd.DataFrame:
    if table is None or table.empty:
        return pd.DataFrame({"date": np.array([], "datetime64[D]"), label: np.array([], object)})
    days = pd.DataFrame({"date": _dates(table, label), label: _labels(table, label)})
    _refuse_twice(days, ["date", label], label)
    return days.sort_values(["date", label], ignore_index=True)


def _level_days(levels: pd.DataFrame | None) -> NDArray[np.datetime64]:
    if levels is None or levels.empty:
        return np.array([], "datetime64[D]")
    _refuse_twice(levels, ["date"], "new level")
    return np.sort(_dates(levels, "new level"))


def _refuse_twice(table: pd.DataFrame, keys: list[str], what: str) -> None:
    twice = table[table.duplicated(keys)]
    if not twice.empty:
        shown = " ".join(str(v).removesuffix(" 00:00:00") for v in twice.iloc[0][keys])
        raise SeasonError(f"The same {what} stands twice ({shown}); keep one.")


def _assemble(
    readings: pd.DataFrame,
    sessions: pd.DataFrame,
    types: pd.DataFrame,
    applied: pd.DataFrame,
    stressors: pd.DataFrame,
    levels: NDArray[np.datetime64],
) -> xr.Dataset:
    nights = _night_axis(readings, [sessions, stressors])
    by_night = readings.set_index("date").reindex(pd.DatetimeIndex(nights))
    sensors = list(dict.fromkeys(readings["sensor"]))
    labels = by_night["sensor"].ffill().bfill()
    attributes = [str(c) for c in types.columns if c != "type"]
    text = _as_text
    data = xr.Dataset(
        {
            n.LOG_RMSSD: (n.NIGHT, by_night["log_rmssd"].to_numpy(float)),
            n.READING_LN_SD: (n.NIGHT, by_night["ln_sd"].fillna(0.0).to_numpy(float)),
            n.NIGHT_SENSOR: (n.NIGHT, np.array([sensors.index(s) for s in labels])),
            n.SESSION_DATE: (n.SESSION, _nanoseconds(sessions["date"])),
            n.SESSION_TYPE: (n.SESSION, text(sessions["type"])),
            n.DOSE: (n.SESSION, sessions["dose"].to_numpy(float)),
            n.TYPE_ATTRIBUTE: (
                (n.TYPE, n.ATTRIBUTE),
                np.array(types[attributes].to_numpy(), dtype=str),
            ),
            n.APPLIED: ("applied_day", _nanoseconds(applied["date"])),
            "applied_intervention": ("applied_day", text(applied["intervention"])),
            n.STRESSOR_DATE: (n.STRESSOR_DAY, _nanoseconds(stressors["date"])),
            n.STRESSOR_LABEL: (n.STRESSOR_DAY, text(stressors["stressor"])),
            n.NEW_LEVEL: ("new_level_day", levels.astype("datetime64[ns]")),
        },
        coords={
            n.NIGHT: nights.astype("datetime64[ns]"),
            n.TYPE: text(types["type"]),
            n.ATTRIBUTE: text(attributes),
            n.SENSOR: text(sensors),
            n.INTERVENTION: text(dict.fromkeys(applied["intervention"])),
            n.STRESSOR: text(dict.fromkeys(stressors["stressor"])),
        },
    )
    for name, attrs in _VARIABLE_ATTRS.items():
        data[name].attrs.update(attrs)
    return data


def _night_axis(readings: pd.DataFrame, logs: list[pd.DataFrame]) -> NDArray[np.datetime64]:
    dates = _days(readings["date"].to_numpy())
    felt = [_days(log["date"].to_numpy()).min() + DAY for log in logs if not log.empty]
    first = max(dates[0] - LEAD_IN_DAYS * DAY, min([dates[0], *felt]))
    return np.arange(first, dates[-1] + DAY)


def _as_text(values: object) -> NDArray[np.str_]:
    return np.array([str(v) for v in _each(values)], dtype=str)


def _each(values: object) -> Sequence[object]:
    return list(values)  # type: ignore[call-overload,no-any-return]


def _nanoseconds(dates: pd.Series) -> NDArray[np.datetime64]:
    return np.asarray(dates.to_numpy(), dtype="datetime64[ns]")


def _read_only(values: NDArray[Any]) -> NDArray[Any]:
    values.flags.writeable = False
    return values


def _freeze(data: xr.Dataset) -> xr.Dataset:
    for name in data.data_vars:
        data[name].values.flags.writeable = False
    return data
