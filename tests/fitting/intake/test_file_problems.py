"""Problems of a file as a whole, of its header row and of its rows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from slackwater.fitting.intake import check_season

Files = dict[str, str | bytes]
RefusesWith = Callable[[Files, str], None]
Explained = Callable[[str, list[str]], None]

READINGS = "date,rmssd_ms\n2026-01-05,50\n2026-01-06,52\n"


def readings(*rows: str, header: str = "date,rmssd_ms") -> Files:
    return {"readings.csv": "\n".join([header, *rows]) + "\n"}


def beside(file: str, *rows: str) -> Files:
    return {"readings.csv": READINGS, file: "\n".join(rows) + "\n"}


WHOLE_FILE: dict[str, tuple[Files, str]] = {
    "missing": (
        {"sessions.csv": "date,type\n2026-01-05,row\n"},
        "readings.csv:1:1: the file is missing; "
        "write one row per night into it, with the columns date and rmssd_ms",
    ),
    "misspelt": (
        {"Readings.CSV": READINGS},
        "readings.csv:1:1: the file is missing; rename 'Readings.CSV' to readings.csv",
    ),
    "empty": (
        {"readings.csv": ""},
        "readings.csv:1:1: the file is empty; write the header row and the rows below it",
    ),
    "blank lines only": (
        {"readings.csv": "\n\r\n  \n"},
        "readings.csv:1:1: the file is empty; write the header row and the rows below it",
    ),
    "empty beside": (
        beside("sessions.csv"),
        "sessions.csv:1:1: the file is empty; write the header row and the rows below it",
    ),
    "header only": (
        readings(),
        "readings.csv:1:1: there is a header row and no reading; write one row per night below it",
    ),
    "blank first row": (
        {"readings.csv": "\n" + READINGS},
        "readings.csv:1:1: the first row is blank; write the header row there",
    ),
    "semicolons": (
        readings("2026-01-05;50,5", header="date;rmssd_ms"),
        "readings.csv:1:1: the header row has no comma, but a semicolon; "
        'declare separator = ";" under [csv] in season.toml',
    ),
    "tabs": (
        readings("2026-01-05\t50", header="date\trmssd_ms"),
        "readings.csv:1:1: the header row has no comma, but a tab; "
        r'declare separator = "\t" under [csv] in season.toml',
    ),
    "commas where semicolons are declared": (
        {"readings.csv": READINGS, "season.toml": '[csv]\nseparator = ";"\n'},
        "readings.csv:1:1: the header row has no semicolon, but a comma; "
        'declare separator = "," under [csv] in season.toml',
    ),
    "not utf-8": (
        {"readings.csv": b"date,rmssd_ms,note\n2026-01-05,50,\n2026-01-06,52,m\xfcde\n"},
        "readings.csv:3:1: byte 0xfc is not utf-8 text; save the file as CSV in utf-8, or "
        'declare the right one under [csv] in season.toml, such as encoding = "cp1252"',
    ),
    "another encoding is declared": (
        {"readings.csv": READINGS, "season.toml": '[csv]\nencoding = "undefined"\n'},
        "readings.csv:1:1: this is not undefined text; save the file as CSV in undefined, or "
        'declare the right one under [csv] in season.toml, such as encoding = "cp1252"',
    ),
    "nul": (
        {"readings.csv": READINGS.encode("utf-16-le")},
        "readings.csv:1:1: a NUL character stands here, so this is not utf-8 text; "
        "save the file as CSV in utf-8, or "
        'declare the right one under [csv] in season.toml, such as encoding = "utf-16-le"',
    ),
    "byte-order mark": (
        {"readings.csv": READINGS.encode("utf-8-sig")},
        "readings.csv:1:1: the file starts with a byte-order mark (utf-8-sig); "
        'declare encoding = "utf-8-sig" under [csv] in season.toml',
    ),
    "utf-16": (
        {"readings.csv": READINGS.encode("utf-16")},
        "readings.csv:1:1: the file starts with a byte-order mark (utf-16); "
        'declare encoding = "utf-16" under [csv] in season.toml',
    ),
}

HEADERS: dict[str, tuple[Files, str]] = {
    "no value column": (
        readings("2026-01-05,50", header="date,pulse"),
        "readings.csv:1:1: the column rmssd_ms or ln_rmssd is missing "
        "(the header row has 'date', 'pulse'); add it, or declare its header with "
        'rmssd_ms = "…" under [columns.readings] in season.toml',
    ),
    "other case": (
        beside("sessions.csv", "Date,type", "2026-01-05,row"),
        "sessions.csv:1:1: the column date is missing (the header row has 'Date', 'type'); "
        "rename 'Date' to date, or declare date = \"Date\" "
        "under [columns.sessions] in season.toml",
    ),
    "declared and not there": (
        {"readings.csv": READINGS, "season.toml": '[columns.readings]\ndate = "Morning"\n'},
        "readings.csv:1:1: the column Morning (date under [columns.readings] in season.toml) "
        "is missing (the header row has 'date', 'rmssd_ms'); add it, or declare its header "
        'with date = "…" under [columns.readings] in season.toml',
    ),
    "both units": (
        readings("2026-01-05,50,3.9", header="date,rmssd_ms,ln_rmssd"),
        "readings.csv:1:3: rmssd_ms and ln_rmssd are both given; keep one of them",
    ),
    "column twice": (
        readings("2026-01-05,50,51", header="date,rmssd_ms,rmssd_ms"),
        "readings.csv:1:3: the column 'rmssd_ms' stands in field 2 as well; "
        "keep one, or rename the other",
    ),
    "attribute twice": (
        beside("types.csv", "type,mode,mode", "row,water,water"),
        "types.csv:1:3: the column 'mode' stands in field 2 as well; keep one, or rename the other",
    ),
    "nameless attribute": (
        beside("types.csv", "type,mode,", "row,water,"),
        "types.csv:1:3: the column in field 3 has no name; "
        "name the attribute, or delete the column",
    ),
    "attribute called type": (
        {
            **beside("types.csv", "kind,type", "row,water"),
            "season.toml": '[columns.types]\ntype = "kind"\n',
        },
        "types.csv:1:2: an attribute cannot be called 'type'; give it another name",
    ),
}

ROWS: dict[str, tuple[Files, str]] = {
    "another separator": (
        readings("2026-01-05,50,", "2026-01-06;52,3;", header="date,rmssd_ms,note"),
        "readings.csv:3:1: this row uses ;, the header , ('2026-01-06;52,3;'); "
        "write the row with , between its fields, like the others",
    ),
    "another separator, as many fields": (
        readings("2026-01-05,50", "2026-01-06;52,3"),
        "readings.csv:3:1: this row uses ;, the header , ('2026-01-06;52,3'); "
        "write the row with , between its fields, like the others",
    ),
    "another separator without a date": (
        beside("types.csv", "type,mode,effort", "row\twater\thard"),
        "types.csv:2:1: this row uses a tab, the header , ('row\\twater\\thard'); "
        "write the row with , between its fields, like the others",
    ),
    "too many": (
        readings("2026-01-05,50", "2026-01-06,52,5"),
        "readings.csv:3:3: the row has 3 fields, the header 2 ('5'); "
        "put a field that holds a comma in double quotes (a number with a decimal comma, too)",
    ),
    "too many tabs": (
        {
            **readings("2026-01-05\t50\t", header="date\trmssd_ms"),
            "season.toml": '[csv]\nseparator = "\\t"\n',
        },
        "readings.csv:2:3: the row has 3 fields, the header 2 (''); "
        "put a field that holds a tab in double quotes",
    ),
    "blank between": (
        readings("2026-01-05,50", "", "2026-01-06,52"),
        "readings.csv:3:1: the row is blank; delete it",
    ),
    "open quote": (
        readings(
            "2026-01-05,50,", '2026-01-06,52,"tired', "2026-01-07,51,", header="date,rmssd_ms,note"
        ),
        "readings.csv:3:1: the row's double quotes do not pair up (unexpected end of data); "
        "close the quoted field, and write a double quote inside it twice",
    ),
}

LEFT_OUT = {
    "needed": (
        readings("2026-01-05,50", "2026-01-06"),
        "readings.csv:3:2: rmssd_ms is empty; "
        "give milliseconds, or leave the row out if the night was not read",
    ),
    "needed, in the middle": (
        beside("sessions.csv", "dose,date,type", "1,2026-01-05"),
        "sessions.csv:2:3: type is empty; name it, or delete the row",
    ),
}

CASES = LEFT_OUT | WHOLE_FILE | HEADERS | ROWS


@pytest.mark.parametrize(("files", "text"), CASES.values(), ids=CASES.keys())
def test_the_problem_is_named_with_its_place_and_mend(
    refuses_with: RefusesWith, files: Files, text: str
) -> None:
    refuses_with(files, text)


@pytest.mark.parametrize("left_out", ["", ",", ",chest strap", ",chest strap,"])
def test_a_row_may_leave_out_what_it_need_not_have_at_its_end(
    season_folder: Callable[[Files], Path], left_out: str
) -> None:
    header = "date,rmssd_ms,sensor,note,colour"
    files = readings("2026-01-05,50,chest strap,,blue", f"2026-01-06,52{left_out}", header=header)
    check = check_season(season_folder(files))
    assert check.problems == ()
    assert check.season is not None
    assert int(check.season.read.sum()) == 2


def test_the_page_explains_files(explained: Explained) -> None:
    explained("The folder and its files", [text for _, text in WHOLE_FILE.values()])


def test_the_page_explains_headers(explained: Explained) -> None:
    explained("The header row", [text for _, text in HEADERS.values()])


def test_the_page_explains_rows(explained: Explained) -> None:
    explained("The rows", [text for _, text in ROWS.values()])
