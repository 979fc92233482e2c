"""What an athlete has logged, row by row, ready to be asked of many entries."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left, insort
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from math import log
from typing import Final

from slackwater.fitting.intake.cells import (
    InterventionRow,
    ReadingRow,
    Row,
    SessionRow,
    StressorRow,
    TypeRow,
)

WINDOW: Final = 28  # readings that tell what is usual now: four weeks of nights
DAY: Final = dt.timedelta(days=1)


class History:
    """What an athlete has logged.

    Attributes:
        labels: our column name (type, intervention, stressor, sensor) -> each label and how many
            rows hold it.
        described: the session types that types.csv describes.
        sensors: the sensor of each night read.
        doses: each type's doses, in ascending order.
        trained: how often each type was trained on a day, by type and date.
        stressed: days of a stressor.
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        """Take rows of any files, in any order."""
        self.labels: Mapping[str, Counter[str]] = {
            name: Counter() for name in ("type", "intervention", "stressor", "sensor")
        }
        self.described: set[str] = set()
        self.sensors: dict[dt.date, str] = {}
        self.doses: defaultdict[str, list[float]] = defaultdict(list)
        self.trained: defaultdict[str, Counter[dt.date]] = defaultdict(Counter)
        self.stressed: set[dt.date] = set()
        self._readings: dict[dt.date, float] = {}
        self._nights: list[dt.date] = []
        self._same: Counter[tuple[str, dt.date, float]] = Counter()
        self._dated: list[dt.date] = []
        for row in rows:
            self.add(row)

    def add(self, row: Row) -> None:
        """Take one more row."""
        match row:
            case ReadingRow():
                self._add_reading(row)
            case SessionRow():
                self.labels["type"][row.type] += 1
                insort(self.doses[row.type], row.dose)
                self.trained[row.type][row.date] += 1
                self._same[row.type, row.date, row.dose] += 1
                insort(self._dated, row.date)
            case TypeRow():
                self.described.add(row.type)
            case InterventionRow():
                self.labels["intervention"][row.intervention] += 1
                insort(self._dated, row.date)
            case StressorRow():
                self.labels["stressor"][row.stressor] += 1
                self.stressed.add(row.date)
                insort(self._dated, row.date)

    @property
    def span(self) -> tuple[dt.date, dt.date] | None:
        """The first and the last date that anything is logged under; None for none."""
        return (self._dated[0], self._dated[-1]) if self._dated else None

    @property
    def middle(self) -> dt.date | None:
        """The date that half of what is logged comes before; None for nothing."""
        return self._dated[len(self._dated) // 2] if self._dated else None

    def reading(self, night: dt.date) -> float | None:
        """Return a night's reading, ln ms; None where it was not read."""
        return self._readings.get(night)

    def same_sessions(self, session: SessionRow) -> int:
        """Return how many sessions of this type, day and dose are logged."""
        return self._same[session.type, session.date, session.dose]

    def nights_about(self, night: dt.date) -> list[dt.date]:
        """Return the nights read that lie nearest to one, the nearest first; at most `WINDOW`."""
        nights, after = self._nights, bisect_left(self._nights, night)
        before = after - 1
        if after < len(nights) and nights[after] == night:
            after += 1
        found: list[dt.date] = []
        while len(found) < WINDOW and (before >= 0 or after < len(nights)):
            back, on = before >= 0, after < len(nights)
            if back and not (on and nights[after] - night < night - nights[before]):
                found.append(nights[before])
                before -= 1
            else:
                found.append(nights[after])
                after += 1
        return found

    def readings_of(self, nights: Iterable[dt.date]) -> list[float]:
        """Return the readings of nights that were read, ln ms."""
        return [self._readings[night] for night in nights]

    def _add_reading(self, row: ReadingRow) -> None:
        if row.date not in self._readings:
            insort(self._nights, row.date)
        self._readings[row.date] = ln_of(row)
        self.sensors[row.date] = row.sensor
        if row.sensor:
            self.labels["sensor"][row.sensor] += 1
        insort(self._dated, row.date)


def ln_of(row: ReadingRow) -> float:
    """Return a row's reading, ln ms."""
    return log(row.rmssd_ms) if row.rmssd_ms is not None else row.ln_rmssd or 0.0
