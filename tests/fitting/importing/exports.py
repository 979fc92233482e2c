"""Exports of many shapes, each of the same invented fortnight, as files of bytes.

    python -m tests.fitting.importing.exports

takes each into a fresh season with the command line, and prints how many commands and questions
that took, and whether the season then holds what the export says.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import pandas as pd

FIRST: Final = dt.date(2031, 3, 3)
READINGS: Final = [
    61.4, 58.2, 63.0, 59.7, 66.3, 57.1, 60.8, 62.5, 55.9, 64.2, 61.1, 59.3, 65.7, 60.4, 62.9, 58.8,
]  # fmt: skip
DAYS: Final = [FIRST + dt.timedelta(n) for n in range(len(READINGS))]
SESSIONS: Final = {1: "hill run", 4: "heavy lifting", 7: "steady row", 10: "hill run"}
MINUTES: Final = {1: 50, 4: 60, 7: 90, 10: 75}
MEASURES: Final = {2: "river dip", 8: "river dip"}
STRESSORS: Final = {5: "alcohol", 11: "travel"}
DE: Final = {"hill run": "Hügellauf", "heavy lifting": "schweres Heben", "steady row": "Rudern"}

Cell = Any


@dataclass(frozen=True)
class Export:
    """One export.

    Attributes:
        name: what is special about it.
        file: the file's name.
        content: its bytes.
        options: what settles its questions; none where it has none.
        asks: what is asked without them, by the words of the options.
        sessions: how many sessions are in it.
        measures: how many days with a measure.
        stressors: how many days with a stressor.
        readings: the readings in it, by date.
    """

    name: str
    file: str
    content: bytes
    options: Sequence[str] = ()
    asks: Sequence[str] = ()
    sessions: int = 0
    measures: int = 0
    stressors: int = 0
    readings: dict[dt.date, float] = field(
        default_factory=lambda: dict(zip(DAYS, READINGS, strict=True))
    )


def text(rows: Sequence[Sequence[Cell]], separator: str = ",", end: str = "\r\n") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator=end).writerows(rows)
    return out.getvalue()


def comma(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def plain(
    header: Sequence[str],
    day: Callable[[dt.date], Cell],
    number: Callable[[float], Cell] = str,
    days: Sequence[dt.date] = DAYS,
) -> list[list[Cell]]:
    pairs = zip(days, READINGS, strict=False)
    return [[*header], *([day(d), number(r)] for d, r in pairs)]


def wide(header: Sequence[str], day: Callable[[dt.date], Cell]) -> list[list[Cell]]:
    """Return date, reading, session, measure, stressor, note."""
    rows = [
        [day(d), r, *(said.get(n, "") for said in (SESSIONS, MEASURES, STRESSORS)),
         "" if n else "windy"]
        for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True))
    ]  # fmt: skip
    return [[*header], *rows]


def workbook(
    sheets: dict[str, Sequence[Sequence[Cell]]], engine: Literal["openpyxl", "odf"] = "openpyxl"
) -> bytes:
    out = io.BytesIO()
    with pd.ExcelWriter(out, engine=engine) as writer:
        for name, rows in sheets.items():
            width = max(map(len, rows))
            filled = [[*row, *[None] * (width - len(row))] for row in rows]
            frame = pd.DataFrame(filled, dtype=object)
            frame.to_excel(writer, sheet_name=name, header=False, index=False)
    return out.getvalue()


def parquet(frame: pd.DataFrame) -> bytes:
    out = io.BytesIO()
    frame.to_parquet(out)
    return out.getvalue()


def dmy(day: dt.date) -> str:
    return f"{day:%d.%m.%Y}"


def mdy(day: dt.date) -> str:
    return f"{day.month}/{day.day}/{day.year}"


def serial(day: dt.date) -> int:
    return (day - dt.date(1899, 12, 30)).days


def stamp(day: dt.date) -> dt.datetime:
    return dt.datetime(day.year, day.month, day.day, 6, 41)


EARLY: Final = [dt.date(2031, 3, 1) + dt.timedelta(n) for n in range(12)]
EARLY_READINGS: Final = dict(zip(EARLY, READINGS, strict=False))
LABELLED: Final[dict[str, Any]] = {"sessions": 4, "measures": 2, "stressors": 2}


def exports() -> list[Export]:
    de = text(plain(["Datum", "HRV (ms)"], dmy, comma), ";")
    umlaut: list[list[Cell]] = [
        ["Datum", "rMSSD", "Trainingseinheit", "Müdigkeit"],
        *([dmy(d), comma(r), DE.get(SESSIONS.get(n, ""), ""), "3"]
          for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True))),
    ]  # fmt: skip
    french: list[list[Cell]] = [
        ["Date", "VFC", "Séance", "Remarque"],
        *([f"{d:%d/%m/%Y}", comma(r), SESSIONS.get(n, ""), "été" if n == 3 else ""]
          for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True))),
    ]  # fmt: skip
    titled: list[list[Cell]] = [
        ["My training diary"], [], ["Exported", "2031-03-20"], [],
        ["Date", "RMSSD (ms)", "Pulse"],
        *([d.isoformat(), r, 48] for d, r in zip(DAYS, READINGS, strict=True)),
        [], ["Average", "61.1", "48"], ["Total", "977.3", ""], ["* read in the morning"],
    ]  # fmt: skip
    sessions: list[list[Cell]] = [
        ["Date", "Workout", "Duration (min)"],
        *([d.isoformat(), SESSIONS[n], MINUTES[n]] for n, d in enumerate(DAYS) if n in SESSIONS),
    ]
    flags: list[list[Cell]] = [
        ["Day", "rMSSD", "Training", "Sauna", "Alcohol"],
        *([d.isoformat(), r, SESSIONS.get(n, "rest"), "x" if n in MEASURES else "",
           "yes" if n in STRESSORS else "no"]
          for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True))),
    ]  # fmt: skip
    twice_a_day: list[list[Cell]] = [
        ["date", "rmssd", "training 1", "dose 1", "training 2", "dose 2"],
        *([d.isoformat(), r, SESSIONS.get(n, ""), 1.2 if n in SESSIONS else "",
           "core" if n in SESSIONS else "", 0.8 if n in SESSIONS else ""]
          for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True))),
    ]  # fmt: skip
    merged_cells: list[list[Cell]] = [["Date", "RMSSD", "Session"]]
    for n, (d, r) in enumerate(zip(DAYS, READINGS, strict=True)):
        merged_cells.append([d.isoformat(), str(r), SESSIONS.get(n, "")])
        if n in SESSIONS:
            merged_cells.append(["", "", "core"])
    thousands = plain(["Date", "RMSSD"], dt.date.isoformat, lambda r: f"{r:.3f}")
    both: list[list[Cell]] = [
        ["date", "rMSSD", "lnRMSSD", "SDNN", "HRV score"],
        *([d.isoformat(), r, f"{math.log(r):.3f}", r + 20, 71]
          for d, r in zip(DAYS, READINGS, strict=True)),
    ]  # fmt: skip
    evening = plain(["Start time", "HRV"], lambda d: f"{d - dt.timedelta(1)} 22:47", str)
    frame = pd.DataFrame({"date": pd.to_datetime(DAYS), "rmssd_ms": READINGS})
    words = ["Date", "RMSSD", "Session", "Recovery measure", "Stressor", "Notes"]
    iso = dt.date.isoformat
    utf16 = text(plain(["Date", "RMSSD"], iso), "\t").encode("utf-16")
    named = plain(["Date", "rMSSD [ms]"], lambda d: f"{d.day} {d:%B} {d.year}")
    months_de = plain(["Tag", "RMSSD"], lambda d: f"{d.day}. März {d.year}")
    return [
        Export("commas, ISO dates", "a.csv", text(plain(["date", "RMSSD"], iso)).encode()),
        Export("semicolons, decimal commas, day.month.year", "de.csv", de.encode()),
        Export("the same in Windows-1252 with umlauts", "de1252.csv",
               text(umlaut, ";").encode("cp1252"), sessions=4),
        Export("the same in UTF-8 with a mark", "de8.csv", text(umlaut, ";").encode("utf-8-sig"),
               sessions=4),
        Export("French, Windows-1252, day/month/year", "fr.csv",
               text(french, ";").encode("cp1252"), sessions=4),
        Export("month/day/year", "us.csv", text(plain(["Date", "HRV"], mdy)).encode()),
        Export("days up to 12 alone: two readings of each date", "early.csv",
               text(plain(["Date", "HRV"], mdy, days=EARLY)).encode(),
               ["--dates", "month-first"], ["--dates"], readings=EARLY_READINGS),
        Export("two-digit years", "short.csv",
               text(plain(["Date", "RMSSD"], lambda d: f"{d:%d/%m/%y}")).encode(),
               ["--dates", "day-first"], ["--dates"]),
        Export("names of months", "named.csv", text(named).encode()),
        Export("German names of months", "maerz.csv", text(months_de, ";").encode()),
        Export("UTF-16, tabs", "utf16.txt", utf16),
        Export("UTF-16 without a mark", "utf16le.txt",
               text(plain(["Date", "RMSSD"], iso), "\t").encode("utf-16-le")),
        Export("old Macintosh", "mac.csv", text(umlaut, ";").encode("mac_roman"),
               ["--encoding", "mac_roman"], ["--encoding"], sessions=4),
        Export("ln RMSSD", "ln.csv",
               text(plain(["date", "lnRMSSD"], iso, lambda r: f"{math.log(r):.4f}")).encode()),
        Export("logarithms under a header that says no unit", "log.csv",
               text(plain(["date", "HRV"], iso, lambda r: f"{math.log(r):.4f}")).encode(),
               ["--unit", "ln"], ["--unit"]),
        Export("seconds", "s.csv",
               text(plain(["date", "RMSSD (s)"], iso, lambda r: f"{r / 1000:.4f}")).encode()),
        Export("units behind the numbers", "units.csv",
               text(plain(["date", "RMSSD"], iso, lambda r: f"{r} ms")).encode()),
        Export("titles above, sums below, blank rows", "titled.csv", text(titled).encode()),
        Export("a row of units below the header", "unitrow.csv",
               text([["Date", "RMSSD"], ["", "ms"], *plain(["", ""], iso)[1:]]).encode()),
        Export("readings, sessions, measures, stressors in one table", "wide.csv",
               text(wide(words, iso)).encode(), **LABELLED),
        Export("yes and no by measure and stressor", "flags.csv", text(flags).encode(), **LABELLED),
        Export("two sessions a row, with doses", "two.csv", text(twice_a_day).encode(), sessions=8),
        Export("sessions with minutes", "minutes.csv", text(sessions).encode(),
               ["--dose", "Duration (min)"], ["--dose"], sessions=4, readings={}),
        Export("rows without a date below their day", "merged.csv", text(merged_cells).encode(),
               ["--undated", "above"], ["--undated"], sessions=8),
        Export("RMSSD beside its logarithm and other statistics", "both.csv", text(both).encode()),
        Export("nights dated by the evening they began", "evening.csv", text(evening).encode(),
               ["--evening", "evening"], ["--evening"]),
        Export("time stamps of the morning", "stamps.csv",
               text(plain(["Timestamp", "HRV"],
                          lambda d: f"{stamp(d).isoformat()}+01:00")).encode()),
        Export("day numbers", "serial.csv", text(plain(["Date", "RMSSD"], serial)).encode(),
               ["--dates", "days-since-1900"], ["--dates"]),
        Export("no header", "bare.csv", text(plain(["", ""], iso)[1:]).encode(),
               ["--column", "rmssd=column 2"], ["--column"]),
        Export("three digits behind the point", "thousands.csv", text(thousands).encode()),
        Export("a hint for the separator, bars", "hint.csv",
               ("sep=|\r\n" + text(plain(["date", "RMSSD"], iso), "|")).encode()),
        Export("Excel, dates as dates", "plain.xlsx",
               workbook({"Sheet1": plain(["Date", "RMSSD"], lambda d: d, float)})),
        Export("Excel, several sheets, one of them none", "many.xlsx",
               workbook({"Readings": plain(["Morning", "HRV (ms)"], stamp, float),
                         "Sessions": sessions, "Charts": [["nothing here"], ["at all"]]}),
               ["--dose", "leave"], ["--dose"], sessions=4),
        Export("Excel, a sheet a month", "months.xlsx",
               workbook({"A": plain(["Date", "RMSSD"], lambda d: d, float)[:9],
                         "B": [["Date", "RMSSD"],
                               *plain(["", ""], lambda d: d, float)[9:]]})),
        Export("Excel, titles, all in one table", "wide.xlsx",
               workbook({"Log": [["Diary of a season"], [], *wide(words, lambda d: d)]}),
               **LABELLED),
        Export("OpenDocument", "plain.ods",
               workbook({"Tabelle1": plain(["Datum", "RMSSD"], lambda d: d, float)}, "odf")),
        Export("OpenDocument, dates as texts", "text.ods",
               workbook({"Tabelle1": plain(["Datum", "HRV"], dmy, comma)}, "odf")),
        Export("Parquet", "plain.parquet", parquet(frame)),
        Export("Parquet with dates as its index", "index.parquet",
               parquet(frame.rename(columns={"rmssd_ms": "RMSSD"}).set_index("date"))),
    ]  # fmt: skip


def main() -> None:
    import tempfile
    from pathlib import Path

    from slackwater.fitting.intake import check_season
    from tests.fitting.conftest import run

    print(f"{'export':55} {'questions':>9} {'commands':>8}  right")  # noqa: T201
    for export in exports():
        with tempfile.TemporaryDirectory() as folder:
            file, season = Path(folder) / export.file, Path(folder) / "season"
            file.write_bytes(export.content)
            first = run("import", file, season, "--yes")
            again = run("import", file, season, "--yes", *export.options) if first.status else first
            right = again.status == 0
            if export.readings and right:
                check = check_season(season)
                right = check.season is not None and int(check.season.read.sum()) == len(
                    export.readings
                )
            asked = first.err.count("\n  --") and len(export.asks)
            print(f"{export.name:55} {asked:9} {1 + bool(first.status):8}  {right}")  # noqa: T201
            if not right or bool(first.status) != bool(export.options):
                print(first.out, first.err, again.out, again.err)  # noqa: T201


if __name__ == "__main__":
    main()
