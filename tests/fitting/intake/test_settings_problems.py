"""Problems of season.toml."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Files = dict[str, str | bytes]
RefusesWith = Callable[[Files, str], None]
Explained = Callable[[str, list[str]], None]

READINGS = "date,rmssd_ms\n2026-01-05,50\n2026-01-06,52\n"
HEADER_MEND = "give the header that stands in the file, in quotes"
TABLE_MEND = 'write a table such as [columns.readings] and below it date = "Day"'
THRESHOLD_MEND = (
    "give the smallest dip worth acting on, from 1 to 30 (percent), such as threshold_percent = 5"
)
NAME_MEND = 'give a text in quotes, such as name = "Spring on the river"'


def settings(text: str | bytes) -> Files:
    return {"readings.csv": READINGS, "season.toml": text}


SETTINGS: dict[str, tuple[Files, str]] = {
    "no toml": (
        settings("[csv]\nseparator = ;\n"),
        "season.toml:2:13: this is not TOML (Invalid value); "
        'write it as TOML, such as separator = ";"',
    ),
    "cut off": (
        settings('name = "x"\n[csv]\nseparator = '),
        "season.toml:3:1: this is not TOML (Invalid value); "
        'write it as TOML, such as separator = ";"',
    ),
    "not utf-8": (
        settings(b'\nname = "Fr\xfchling"\n'),
        "season.toml:2:1: byte 0xfc is not UTF-8 text; save the file as UTF-8",
    ),
    "byte-order mark": (
        settings('name = "x"\n'.encode("utf-8-sig")),
        "season.toml:1:1: the file starts with a byte-order mark; save it as UTF-8 without one",
    ),
    "unknown key": (
        settings('[csv]\nseperator = ";"\n'),
        "season.toml:2:1: unknown key 'seperator' in [csv]; did you mean 'separator'?",
    ),
    "unknown table": (
        settings('athlete = "x"\n'),
        "season.toml:1:1: unknown key 'athlete'; "
        "the keys here are name, threshold_percent, csv, columns and import",
    ),
    "unknown column": (
        settings('[columns.sessions]\n"load" = "Last"\n'),
        "season.toml:2:1: unknown key 'load' in [columns.sessions]; "
        "the keys here are date, type, dose and note",
    ),
    "unknown file": (
        settings('[columns.reading]\ndate = "Day"\n'),
        "season.toml:1:1: unknown key 'reading' in [columns]; did you mean 'readings'?",
    ),
    "threshold beyond a third": (
        settings('name = "x"\nthreshold_percent = 31\n'),
        "season.toml:2:1: threshold_percent does not take '31'; " + THRESHOLD_MEND,
    ),
    "threshold in quotes": (
        settings('name = "x"\nthreshold_percent = "5"\n'),
        "season.toml:2:1: threshold_percent does not take '5'; " + THRESHOLD_MEND,
    ),
    "threshold of yes and no": (
        settings('name = "x"\nthreshold_percent = true\n'),
        "season.toml:2:1: threshold_percent does not take 'True'; " + THRESHOLD_MEND,
    ),
    "separator": (
        settings('[csv]\nseparator = "/"\n'),
        "season.toml:2:1: [csv] separator does not take '/'; "
        r'give one of separator = ",", ";", "\t" (tab) or "|"',
    ),
    "decimal": (
        settings("[csv]\ndecimal = 0\n"),
        'season.toml:2:1: [csv] decimal does not take \'0\'; give decimal = "." or decimal = ","',
    ),
    "encoding": (
        settings('[csv]\nencoding = "utf8-bom"\n'),
        "season.toml:2:1: [csv] encoding does not take 'utf8-bom'; "
        'give a text encoding by its name, such as encoding = "utf-8-sig" or "cp1252"',
    ),
    "no text encoding": (
        settings('csv.encoding = "hex"\n'),
        "season.toml:1:1: [csv] encoding does not take 'hex'; "
        'give a text encoding by its name, such as encoding = "utf-8-sig" or "cp1252"',
    ),
    "name": (settings('name = " "\n'), f"season.toml:1:1: name does not take ' '; {NAME_MEND}"),
    "csv is no table": (
        settings('\ncsv = ";"\n'),
        "season.toml:2:1: csv does not take ';'; "
        "write [csv] on a line of its own and its keys below",
    ),
    "columns is no table": (
        settings('[columns]\nreadings = "Day"\n'),
        f"season.toml:2:1: [columns] readings does not take 'Day'; {TABLE_MEND}",
    ),
    "import is no list of tables": (
        settings('import = "diary.csv"\n'),
        "season.toml:1:1: import does not take 'diary.csv'; leave it to slackwater, or delete it",
    ),
    "header is no text": (
        settings("[columns.readings]\ndate = 1\n"),
        f"season.toml:2:1: [columns.readings] date does not take '1'; {HEADER_MEND}",
    ),
    "one header for two": (
        settings('[columns.readings]\nrmssd_ms = "note"\n'),
        "season.toml:2:1: [columns.readings] rmssd_ms and note share the header 'note'; "
        "give each a header of its own",
    ),
}


@pytest.mark.parametrize(("files", "text"), SETTINGS.values(), ids=SETTINGS.keys())
def test_the_problem_is_named_with_its_place_and_mend(
    refuses_with: RefusesWith, files: Files, text: str
) -> None:
    refuses_with(files, text)


def test_the_page_explains_season_toml(explained: Explained) -> None:
    explained("Problems of season.toml", [text for _, text in SETTINGS.values()])
