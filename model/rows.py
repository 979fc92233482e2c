"""A season's rows: taken from tables, checked and in order; and the arrays by night made of them.

Tables are pandas' where somebody hands them in and where they are handed out; in between, rows are
plain arrays, since a season is made anew with every line that is logged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.errors import SeasonError

LEAD_IN_DAYS: Final = 14
DAY: Final = np.timedelta64(1, "D")
THE_SENSOR: Final = "sensor"  # the label where readings name none

Dates = NDArray[np.datetime64]
Floats = NDArray[np.float64]

_VARIABLE_ATTRS: Final[dict[str, dict[str, str]]] = {
    n.LOG_RMSSD: {"units": "ln ms", "long_name": "natural log of the night's RMSSD"},
    n.READING_LN_SD: {"units": "1", "long_name": "standard error of log_rmssd as measured"},
    n.NIGHT_SENSOR: {"units": "1", "long_name": "index of the night's sensor"},
    n.SESSION_DATE: {"long_name": "calendar day of the session"},
    n.SESSION_TYPE: {"long_name": "session type"},
    n.DOSE: {"units": "1", "long_name": "dose, 1 = that type's usual session"},
    n.TYPE_ATTRIBUTE: {"long_name": "value of an attribute, empty where not given"},
}


class Readings(NamedTuple):
    """Readings by date."""

    dates: Dates
    log_rmssd: Floats
    ln_sd: Floats
    sensors: list[str]


class Sessions(NamedTuple):
    """Sessions by date and type."""

    dates: Dates
    types: list[str]
    doses: Floats


class Types(NamedTuple):
    """Session types, and each one's values of the attributes."""

    names: list[str]
    attributes: list[str]
    values: list[list[str]]


class Days(NamedTuple):
    """Days of a measure or a stressor, by date and label."""

    dates: Dates
    labels: list[str]


class Rows(NamedTuple):
    """All rows of a season, each table in its order; `levels` are dates of mornings."""

    readings: Readings
    sessions: Sessions
    types: Types
    interventions: Days
    stressors: Days
    levels: Dates

    @classmethod
    def of_tables(
        cls,
        readings: pd.DataFrame,
        sessions: pd.DataFrame | None,
        types: pd.DataFrame | None,
        interventions: pd.DataFrame | None,
        stressors: pd.DataFrame | None,
        levels: pd.DataFrame | None,
    ) -> Rows:
        """Take tables as `Season.from_tables` does, and raise what it raises."""
        read, trained = _readings(readings), _sessions(sessions)
        applied, stressed = (
            _day_rows(interventions, "intervention"),
            _day_rows(stressors, "stressor"),
        )
        return cls(read, trained, _types(types, trained), applied, stressed, _levels(levels))

    @classmethod
    def of_data(cls, data: xr.Dataset) -> Rows:
        """Take what a season's arrays hold."""
        log_rmssd = data[n.LOG_RMSSD].values
        read = np.isfinite(log_rmssd)
        sensors = data[n.SENSOR].values[data[n.NIGHT_SENSOR].values[read]]
        return cls(
            Readings(
                days(data[n.NIGHT].values)[read],
                log_rmssd[read],
                data[n.READING_LN_SD].values[read],
                sensors.tolist(),
            ),
            Sessions(
                days(data[n.SESSION_DATE].values),
                data[n.SESSION_TYPE].values.tolist(),
                data[n.DOSE].values,
            ),
            Types(
                data[n.TYPE].values.tolist(),
                data[n.ATTRIBUTE].values.tolist(),
                data[n.TYPE_ATTRIBUTE].values.tolist(),
            ),
            Days(days(data[n.APPLIED].values), data["applied_intervention"].values.tolist()),
            Days(days(data[n.STRESSOR_DATE].values), data[n.STRESSOR_LABEL].values.tolist()),
            days(data[n.NEW_LEVEL].values),
        )

    def through(self, night: np.datetime64, first: np.datetime64) -> Rows | None:
        """Return what could be seen by the morning of a night; None without a reading by then.

        Args:
            night: the night.
            first: the first night of the axis.
        """
        dates = self.readings.dates
        count = int(np.searchsorted(dates, night, side="right"))
        if not count:
            return None
        last = dates[count - 1]  # where the axis will end
        seen = slice(count)
        readings = Readings(
            dates[seen],
            self.readings.log_rmssd[seen],
            self.readings.ln_sd[seen],
            self.readings.sensors[seen],
        )

        def felt(rows: Sessions | Days) -> slice:
            return slice(*np.searchsorted(rows.dates, [first - DAY, last]))

        within = felt(self.sessions)
        sessions = Sessions(
            self.sessions.dates[within], self.sessions.types[within], self.sessions.doses[within]
        )
        done = set(sessions.types)
        kept = [place for place, name in enumerate(self.types.names) if name in done]
        types = Types(
            [self.types.names[place] for place in kept],
            self.types.attributes,
            [self.types.values[place] for place in kept],
        )
        interventions, stressors = (
            Days(rows.dates[felt(rows)], rows.labels[felt(rows)])
            for rows in (self.interventions, self.stressors)
        )
        levels = self.levels[self.levels <= last]
        return Rows(readings, sessions, types, interventions, stressors, levels)

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return the tables that `of_tables` takes."""
        types = {"type": _objects(self.types.names)}
        for column, name in enumerate(self.types.attributes):
            types[name] = _objects(values[column] for values in self.types.values)
        read, trained = self.readings, self.sessions
        columns: dict[str, dict[str, Any]] = {
            "readings": {
                "date": read.dates,
                "log_rmssd": read.log_rmssd,
                "ln_sd": read.ln_sd,
                "sensor": _objects(read.sensors),
            },
            "sessions": {
                "date": trained.dates,
                "type": _objects(trained.types),
                "dose": trained.doses,
            },
            "types": types,
            "interventions": _columns(self.interventions, "intervention"),
            "stressors": _columns(self.stressors, "stressor"),
            "levels": {"date": self.levels},
        }
        return {name: pd.DataFrame(table) for name, table in columns.items()}

    def by_night(self) -> xr.Dataset:
        """Return the arrays of a season, on its axis of nights."""
        nights = self._axis()
        places = ((self.readings.dates - nights[0]) / DAY).astype(int)
        log_rmssd, ln_sd = np.full(len(nights), np.nan), np.zeros(len(nights))
        log_rmssd[places], ln_sd[places] = self.readings.log_rmssd, self.readings.ln_sd
        sensors = list(dict.fromkeys(self.readings.sensors))
        index = np.array([sensors.index(label) for label in self.readings.sensors])
        latest = np.searchsorted(places, np.arange(len(nights)), side="right") - 1
        variables: dict[str, tuple[Any, ...]] = {
            n.LOG_RMSSD: (n.NIGHT, log_rmssd),
            n.READING_LN_SD: (n.NIGHT, ln_sd),
            n.NIGHT_SENSOR: (n.NIGHT, index[np.maximum(latest, 0)]),
            n.SESSION_DATE: (n.SESSION, _nanoseconds(self.sessions.dates)),
            n.SESSION_TYPE: (n.SESSION, _text(self.sessions.types)),
            n.DOSE: (n.SESSION, np.array(self.sessions.doses, float)),
            n.TYPE_ATTRIBUTE: (
                (n.TYPE, n.ATTRIBUTE),
                _text(self.types.values).reshape(len(self.types.names), len(self.types.attributes)),
            ),
            n.APPLIED: ("applied_day", _nanoseconds(self.interventions.dates)),
            "applied_intervention": ("applied_day", _text(self.interventions.labels)),
            n.STRESSOR_DATE: (n.STRESSOR_DAY, _nanoseconds(self.stressors.dates)),
            n.STRESSOR_LABEL: (n.STRESSOR_DAY, _text(self.stressors.labels)),
            n.NEW_LEVEL: ("new_level_day", _nanoseconds(self.levels)),
        }
        return xr.Dataset(
            {name: (*row, _VARIABLE_ATTRS.get(name, {})) for name, row in variables.items()},
            coords={
                n.NIGHT: _nanoseconds(nights),
                n.TYPE: _text(self.types.names),
                n.ATTRIBUTE: _text(self.types.attributes),
                n.SENSOR: _text(sensors),
                n.INTERVENTION: _text(dict.fromkeys(self.interventions.labels)),
                n.STRESSOR: _text(dict.fromkeys(self.stressors.labels)),
            },
        )

    def _axis(self) -> Dates:
        dates = self.readings.dates
        felt = [log.dates[0] + DAY for log in (self.sessions, self.stressors) if len(log.dates)]
        first = max(dates[0] - LEAD_IN_DAYS * DAY, min([dates[0], *felt]))
        return np.arange(first, dates[-1] + DAY)


def days(dates: object) -> Dates:
    """Return dates as calendar days."""
    return np.asarray(dates, dtype="datetime64[ns]").astype("datetime64[D]")


def _dates(table: pd.DataFrame, what: str) -> Dates:
    found = days(table["date"].to_numpy())
    if np.any(np.isnat(found)):
        raise SeasonError(f"A row for a {what} has no date; fill it in or leave the row out.")
    return found


def _labels(table: pd.DataFrame, column: str) -> list[str]:
    found = _strings(table[column])
    if "" in found:
        raise SeasonError(f"A row has no {column}; name it or leave the row out.")
    return found


def _strings(column: pd.Series) -> list[str]:
    values = column.to_numpy(object)
    return ["" if not there else str(v) for v, there in zip(values, ~pd.isna(values), strict=True)]


def _readings(table: pd.DataFrame) -> Readings:
    dates = _dates(table, "reading")
    if "log_rmssd" in table:
        log_rmssd = table["log_rmssd"].to_numpy(float)
    else:
        rmssd = table["rmssd_ms"].to_numpy(float)
        if np.any(~(rmssd > 0)):
            raise SeasonError("A reading's RMSSD must be above 0 ms; leave out missing nights.")
        log_rmssd = np.log(rmssd)
    ln_sd = np.zeros(len(dates))
    if "ln_sd" in table:
        ln_sd = table["ln_sd"].fillna(0.0).to_numpy(float)
    named = _strings(table["sensor"]) if "sensor" in table else [""] * len(dates)
    if not len(dates):
        raise SeasonError("A season needs at least one reading.")
    if not np.all(np.isfinite(log_rmssd)):
        raise SeasonError("A reading is not a finite number; leave out missing nights.")
    if not np.all((ln_sd >= 0) & np.isfinite(ln_sd)):
        raise SeasonError("A reading's ln_sd must be 0 or more; leave it empty where not known.")
    _refuse_twice("reading", dates)
    order = np.argsort(dates)
    sensors = [named[place] or THE_SENSOR for place in order]
    return Readings(dates[order], log_rmssd[order], ln_sd[order], sensors)


def _sessions(table: pd.DataFrame | None) -> Sessions:
    if table is None or table.empty:
        return Sessions(np.array([], "datetime64[D]"), [], np.array([]))
    dates, types = _dates(table, "session"), _labels(table, "type")
    doses = np.ones(len(dates))
    if "dose" in table:
        doses = table["dose"].fillna(1.0).to_numpy(float)
    if not np.all((doses > 0) & np.isfinite(doses)):
        raise SeasonError("A session's dose must be finite and above 0; 1 is that type's usual.")
    order = _in_order(dates, types)
    return Sessions(dates[order], [types[place] for place in order], doses[order])


def _types(table: pd.DataFrame | None, sessions: Sessions) -> Types:
    given = {"type": list[str]()}
    if table is not None:
        given = {str(name): _strings(table[name]) for name in table.columns}
    names = given.pop("type")
    _refuse_twice("type", names)
    values = [list(row) for row in zip(*given.values(), strict=True)] or [[] for _ in names]
    extra = sorted(set(sessions.types) - set(names))
    return Types([*names, *extra], [*given], [*values, *([""] * len(given) for _ in extra)])


def _day_rows(table: pd.DataFrame | None, label: str) -> Days:
    if table is None or table.empty:
        return Days(np.array([], "datetime64[D]"), [])
    dates, labels = _dates(table, label), _labels(table, label)
    _refuse_twice(label, dates, labels)
    order = _in_order(dates, labels)
    return Days(dates[order], [labels[place] for place in order])


def _levels(table: pd.DataFrame | None) -> Dates:
    if table is None or table.empty:
        return np.array([], "datetime64[D]")
    dates = _dates(table, "new level")
    _refuse_twice("new level", dates)
    return np.sort(dates)


def _refuse_twice(what: str, *keys: Sequence[str] | Dates) -> None:
    seen = set()
    for key in zip(*keys, strict=True):
        if key in seen:
            shown = " ".join(map(str, key))
            raise SeasonError(f"The same {what} stands twice ({shown}); keep one.")
        seen.add(key)


def _in_order(dates: Dates, labels: Sequence[str]) -> list[int]:
    """Return the rows' places by date, then label; of rows that agree, as they came."""
    keys = list(zip(dates.astype(int).tolist(), labels, strict=True))
    return sorted(range(len(keys)), key=keys.__getitem__)


def _columns(rows: Days, label: str) -> dict[str, Any]:
    return {"date": rows.dates, label: _objects(rows.labels)}


def _objects(values: Iterable[str]) -> NDArray[np.object_]:
    return np.array([*values], dtype=object)


def _text(values: Iterable[Any]) -> NDArray[np.str_]:
    return np.array([*values], dtype=str)


def _nanoseconds(dates: Dates) -> Dates:
    return dates.astype("datetime64[ns]")
