"""Problems of single cells, and those that only show across rows and files."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Files = dict[str, str | bytes]
RefusesWith = Callable[[Files, str], None]
Explained = Callable[[str, list[str]], None]

READINGS = "date,rmssd_ms\n2026-01-05,50\n2026-01-06,52\n"
NO_READING = "leave the row out if the night was not read"
MS_MEND = f"give milliseconds, or {NO_READING}"
LN_MEND = f"give the natural logarithm of the milliseconds, or {NO_READING}"
DATE_MEND = "dates are YYYY-MM-DD, such as 2026-03-09"
LN_SD_MEND = (
    "give the standard error of ln RMSSD (0.05 is about 5 % of RMSSD), or leave the cell empty"
)
DOSE_MEND = "give a number above 0 (1 = that type's usual session), or leave the cell empty"


def readings(*rows: str, header: str = "date,rmssd_ms") -> Files:
    return {"readings.csv": "\n".join([header, *rows]) + "\n"}


def beside(file: str, *rows: str) -> Files:
    return {"readings.csv": READINGS, file: "\n".join(rows) + "\n"}


CELLS: dict[str, tuple[Files, str]] = {
    "negative": (
        readings("2026-01-05,50", "2026-01-06,-5"),
        f"readings.csv:3:2: rmssd_ms '-5' is not above 0; {MS_MEND}",
    ),
    "after quoted newlines": (
        readings('2026-01-05,50,"a\nb\r\nc"', "2026-01-06,-5,", header="date,rmssd_ms,note"),
        f"readings.csv:5:2: rmssd_ms '-5' is not above 0; {MS_MEND}",
    ),
    "zero": (
        readings("2026-01-05,0.0"),
        f"readings.csv:2:2: rmssd_ms '0.0' is not above 0; {MS_MEND}",
    ),
    "no value": (
        readings("2026-01-05, "),
        f"readings.csv:2:2: rmssd_ms is empty; {MS_MEND}",
    ),
    **{
        f"ln_sd {cell}": (
            readings(f"2026-01-05,50,{cell}", header="date,rmssd_ms,ln_sd"),
            f"readings.csv:2:3: ln_sd '{cell}' lies outside 0 to 1; {LN_SD_MEND}",
        )
        for cell in ("-0.1", "1", "4.2")
    },
    "ln_sd in words": (
        readings("2026-01-05,50,good", header="date,rmssd_ms,ln_sd"),
        f"readings.csv:2:3: ln_sd 'good' is not a number; {LN_SD_MEND}",
    ),
    **{
        f"not a number: {cell}": (
            readings(f"2026-01-05,{cell}"),
            f"readings.csv:2:2: rmssd_ms '{cell}' is not a number; {MS_MEND}",
        )
        for cell in (
            "fifty",
            "nan",
            "inf",
            "-inf",
            "NA",
            "1e999",
            "1_000",
            "0x32",
            "\u0665\u0660",
            "50 ms",
        )
    },
    "ln is no number": (
        readings("2026-01-05,nan", header="date,ln_rmssd"),
        f"readings.csv:2:2: ln_rmssd 'nan' is not a number; {LN_MEND}",
    ),
    "long cell": (
        readings("2026-01-05," + "x" * 500),
        f"readings.csv:2:2: rmssd_ms '{'x' * 39}…' is not a number; {MS_MEND}",
    ),
    "the header's own name": (
        {
            **readings("2026-01-05,-5", header="date,night ms"),
            "season.toml": '[columns.readings]\nrmssd_ms = "night ms"\n',
        },
        f"readings.csv:2:2: night ms '-5' is not above 0; {MS_MEND}",
    ),
    "decimal comma": (
        readings('2026-01-05,"50,5"'),
        "readings.csv:2:2: rmssd_ms '50,5' has a decimal comma; "
        'declare decimal = "," under [csv] in season.toml, or write a point',
    ),
    "decimal point": (
        {
            **readings("2026-01-05;50.5", header="date;rmssd_ms"),
            "season.toml": '[csv]\nseparator = ";"\ndecimal = ","\n',
        },
        "readings.csv:2:2: rmssd_ms '50.5' has a point, but season.toml says that decimals "
        "have a comma; write the number with a comma",
    ),
    **{
        f"date form: {cell}": (
            readings(f"{cell},50"),
            f"readings.csv:2:1: date '{cell}' is not an ISO 8601 date; {DATE_MEND}",
        )
        # ISO 8601 has further forms; the season folder takes the calendar date alone.
        for cell in (
            "5.1.2026",
            "01/05/2026",
            "2026-1-5",
            "20260105",
            "2026-W02-1",
            "2026-01-05T07:00",
            "26-01-05",
            "yesterday",
        )
    },
    "no date": (readings(",50"), f"readings.csv:2:1: date is empty; {DATE_MEND}"),
    **{
        f"impossible: {cell}": (
            readings(f"{cell},50"),
            f"readings.csv:2:1: date '{cell}' is not a day of the calendar; {DATE_MEND}",
        )
        for cell in ("2026-02-29", "2026-13-01", "2026-04-31", "0000-01-01")
    },
    **{
        f"out of range: {cell}": (
            readings(f"{cell},50"),
            f"readings.csv:2:1: date '{cell}' lies outside the years 1990 to 2100; "
            "write the right year",
        )
        for cell in ("1989-12-31", "0026-01-05", "2101-01-01")
    },
    **{
        f"dose {cell}": (
            beside("sessions.csv", "type,dose,date", f"row,{cell},2026-01-05"),
            f"sessions.csv:2:2: dose '{cell}' {what}; {DOSE_MEND}",
        )
        for cell, what in {
            "0": "is not above 0",
            "-1": "is not above 0",
            "big": "is not a number",
            "nan": "is not a number",
            "inf": "is not a number",
        }.items()
    },
    **{
        f"empty {column}": (
            beside(f"{column}s.csv", f"date,{column}", "2026-01-05, "),
            f"{column}s.csv:2:2: {column} is empty; name it, or delete the row",
        )
        for column in ("intervention", "stressor")
    },
    "empty type": (
        beside("sessions.csv", "date,type", "2026-01-05,"),
        "sessions.csv:2:2: type is empty; name it, or delete the row",
    ),
    "empty type in types": (
        beside("types.csv", "type,mode", ",water"),
        "types.csv:2:1: type is empty; name it, or delete the row",
    ),
    "control character": (
        beside("sessions.csv", "date,type", '2026-01-05,"ro\nw"'),
        r"sessions.csv:2:2: type 'ro\nw' holds a line break or another control character; "
        "write it on one line, in plain characters",
    ),
    "control character in an attribute": (
        beside("types.csv", "type,mode", "row,\x1b[2J"),
        r"types.csv:2:2: mode '\x1b[2J' holds a line break or another control character; "
        "write it on one line, in plain characters",
    ),
}

ACROSS: dict[str, tuple[Files, str]] = {
    "reading twice": (
        readings("2026-01-05,50", "2026-01-06,52", "2026-01-05,51"),
        "readings.csv:4:1: date 2026-01-05 stands in line 2 as well; keep one reading per night",
    ),
    "type twice": (
        beside("types.csv", "mode,type", "water,row", "land,row"),
        "types.csv:3:2: type 'row' stands in line 2 as well; keep one row per type",
    ),
    "intervention twice": (
        beside("interventions.csv", "date,intervention", "2026-01-05,sauna", "2026-01-05,sauna "),
        "interventions.csv:3:1: date 2026-01-05 'sauna' stands in line 2 as well; "
        "keep one of the two rows",
    ),
    "stressor twice": (
        beside("stressors.csv", "date,stressor", "2026-01-05,travel", "2026-01-05,travel"),
        "stressors.csv:3:1: date 2026-01-05 'travel' stands in line 2 as well; "
        "keep one of the two rows",
    ),
    "ln as ms": (
        readings(*(f"2026-01-{day:02d},3.9" for day in range(1, 31))),
        "readings.csv:1:2: rmssd_ms is under 7 ms in 30 of 30 rows, such as 3.9: that looks "
        "like ln RMSSD, not milliseconds; call the column ln_rmssd if it is the natural "
        "logarithm, else give milliseconds",
    ),
    "seconds as ms": (
        readings(*(f"2026-01-{day:02d},0.039" for day in range(1, 31))),
        "readings.csv:1:2: rmssd_ms is under 7 ms in 30 of 30 rows, such as 0.039: that looks "
        "like seconds, not milliseconds; multiply the column by 1,000 if it is seconds",
    ),
    "ms as ln": (
        readings(*(f"2026-01-{day:02d},50" for day in range(1, 31)), header="date,ln_rmssd"),
        "readings.csv:1:2: ln_rmssd is above 7 in 30 of 30 rows, such as 50: that looks like "
        "milliseconds, not ln RMSSD; call the column rmssd_ms if it is milliseconds, else give "
        "natural logarithms",
    ),
    "one ms among ln": (
        readings("2026-01-05,3.9", "2026-01-06,50", "2026-01-07,4", header="date,ln_rmssd"),
        "readings.csv:3:2: ln_rmssd 50 is above 7, which is over 1,000 ms; "
        "give the natural logarithm of the milliseconds",
    ),
    "far future": (
        readings("2026-01-05,50", "2062-01-06,52", "2026-01-07,52"),
        "readings.csv:3:1: date 2062-01-06 lies over 3 years from the other dates of the folder "
        "(2026-01-05 to 2026-01-07); write the right year, or put it into a season folder of its "
        "own",
    ),
    "far past, in another file": (
        beside("sessions.csv", "date,type", "2016-01-05,row"),
        "sessions.csv:2:1: date 2016-01-05 lies over 3 years from the other dates of the folder "
        "(2026-01-05 to 2026-01-06); write the right year, or put it into a season folder of its "
        "own",
    ),
}

CASES = CELLS | ACROSS


@pytest.mark.parametrize(("files", "text"), CASES.values(), ids=CASES.keys())
def test_the_problem_is_named_with_its_place_and_mend(
    refuses_with: RefusesWith, files: Files, text: str
) -> None:
    refuses_with(files, text)


def test_the_page_explains_cells(explained: Explained) -> None:
    explained("The cells", [text for _, text in CELLS.values()])


def test_the_page_explains_what_lies_between_rows(explained: Explained) -> None:
    explained("Between rows", [text for _, text in ACROSS.values()])
