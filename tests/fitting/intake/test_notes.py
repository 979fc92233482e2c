"""Notes: what is allowed and said, with its place; and that a clean season has none."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from slackwater.fitting.intake import check_season

Files = dict[str, str | bytes]
Write = Callable[[Mapping[str, str | bytes]], Path]
Explained = Callable[[str, list[str]], None]

CLEAN: Files = {
    "readings.csv": "date,rmssd_ms\n" + "".join(f"2026-01-{d:02d},50\n" for d in range(5, 15)),
    "sessions.csv": "date,type\n2026-01-05,row\n2026-01-07,lift\n",
}
# The middle of the published range below, as a logarithm to base 10: a real file calls that ln.
LOG10 = "".join(f"2026-01-{day:02d},{math.log10(42):.4f}\n" for day in range(5, 15))


def sessions(*rows: str, header: str = "date,type,dose") -> Files:
    return {"sessions.csv": "\n".join([header, *rows]) + "\n"}


NOTES: dict[str, tuple[Files, list[str]]] = {
    "misspelt file": (
        {"session.csv": "", "posterior.nc": b"", "plan.csv": ""},
        ["session.csv: this file is not read; a season has 'sessions.csv'"],
    ),
    "unknown columns": (
        {"sessions.csv": "date,type,,rpe\n2026-01-05,row,,7\n2026-01-06,row,,8\n"},
        ["sessions.csv:1: the columns field 3 and 'rpe' are not known here and left aside"],
    ),
    "unknown column": (
        {"interventions.csv": "date,intervention,note\n2026-01-05,sauna,hot\n"},
        ["interventions.csv:1: the column 'note' is not known here and left aside"],
    ),
    "blanks": (
        sessions("2026-01-05, row ,1", "2026-01-06,row,1", "2026-01-07,row\u00a0,1"),
        ["sessions.csv:2: blanks before or after a label are dropped in lines 2 and 4"],
    ),
    "missing nights": (
        {"readings.csv": "date,rmssd_ms\n2026-01-12,50\n2026-01-05,50\n"},
        ["readings.csv: 6 of 8 nights have no reading, which is allowed"],
    ),
    "base 10": (
        {"readings.csv": "date,ln_rmssd\n" + LOG10},
        [
            "readings.csv:1: ln_rmssd is 1.62 in the middle, which is 5.1 ms; if these are "
            "logarithms to base 10 (42 ms), multiply them by 2.302585"
        ],
    ),
    "sensor left out": (
        {
            "readings.csv": "date,rmssd_ms,sensor\n2026-01-05,50,strap\n2026-01-06,50,\n"
            "2026-01-07,50,strap\n2026-01-08,50,strap\n"
        },
        ["readings.csv:3: no sensor is named in line 3; taken as one of its own, 'sensor'"],
    ),
    "dose in minutes": (
        sessions("2026-01-05,row,60", "2026-01-06,row,90", "2026-01-06,lift,1"),
        [
            "sessions.csv:2: the middle dose of 'row' is 75; dose is relative, 1 = that type's "
            "usual session (divide its doses by the usual one)"
        ],
    ),
    "no session": (
        {"sessions.csv": "date,type\n"},
        ["sessions.csv: no session is logged, so days to recover cannot be learnt"],
    ),
    "never trained": (
        {"types.csv": "type,mode\nrow,water\nlift,land\nhills,land\n"},
        ["types.csv:4: the type 'hills' has no session in sessions.csv"],
    ),
    "not described": (
        {"types.csv": "type,mode\nlift,land\n"},
        ["sessions.csv:2: the type 'row' (1 session) has no row in types.csv"],
    ),
    # Acting from the next night on, a session of 20 December is felt on the season's earliest
    # possible night, 14 nights before the first reading; one of 4 January on the first reading.
    "before the first reading": (
        sessions("2025-12-20,row,1", "2026-01-03,row,1", "2026-01-04,row,1", "2025-12-21,row,1"),
        [
            "sessions.csv:2: dated too long before the first reading (2026-01-05) "
            "to be of use: line 2",
            "sessions.csv:3: dated before the first reading (2026-01-05), so the nights between "
            "are unread: lines 3 and 5",
        ],
    ),
    # The last reading is of 14 January: it shows what was done on the 13th.
    "after the last reading": (
        {
            "interventions.csv": "date,intervention\n"
            + "".join(f"2026-01-{day},sauna\n" for day in range(13, 20))
        },
        [
            "interventions.csv:3: dated on or after the last reading (2026-01-14), so no reading "
            "shows it yet: lines 3, 4, 5, 6, 7, … (6 in all)"
        ],
    ),
}


def test_a_clean_season_has_no_note(season_folder: Write) -> None:
    check = check_season(season_folder(CLEAN))
    assert check.season is not None
    assert check.notes == ()


@pytest.mark.parametrize(("files", "texts"), NOTES.values(), ids=NOTES.keys())
def test_a_note_is_said_and_stops_nothing(
    season_folder: Write, files: Files, texts: list[str]
) -> None:
    check = check_season(season_folder(CLEAN | files))
    assert check.problems == ()
    assert check.season is not None
    assert [str(note) for note in check.notes] == texts


def test_the_page_explains_notes(explained: Explained) -> None:
    explained("Every note", [text for _, texts in NOTES.values() for text in texts])


def test_notes_on_files_stand_beside_problems(season_folder: Write) -> None:
    check = check_season(season_folder({"readings.csv": "date,rmssd_ms,mood\n2026-01-05,x,\n"}))
    assert len(check.problems) == 1
    (note,) = check.notes
    assert str(note) == "readings.csv:1: the column 'mood' is not known here and left aside"
