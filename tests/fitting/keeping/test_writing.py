"""A row goes into the user's file as the user writes it, and nothing else in the file changes."""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import io
from collections.abc import Sequence
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.intake.settings import SEPARATORS, Settings, read_settings
from slackwater.fitting.keeping.row import Cell, Row
from slackwater.fitting.keeping.writing import enter, take_out
from slackwater.model.errors import NoAnswerError, QuestionError

DAY: Final = dt.date(2031, 7, 7)
PLAIN: Final = Settings()


def reading(ms: float = 66.4, day: dt.date = DAY, **more: Cell) -> Row:
    return Row("readings", {"date": day, "rmssd_ms": ms, **more})


def entered(text: str, *rows: Row, toml: str = "", encoding: str = "utf-8") -> str:
    how = read_settings(toml.encode())
    content = enter(rows[0].file, text.encode(encoding), rows, how).content
    return content.decode(encoding)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("date,rmssd_ms\n2031-07-06,57.6\n", "date,rmssd_ms\n2031-07-06,57.6\n2031-07-07,66.4\n"),
        ("date,rmssd_ms\n2031-07-06,57.6", "date,rmssd_ms\n2031-07-06,57.6\n2031-07-07,66.4"),
        ("date,rmssd_ms\r\n2031-07-06,57.6", "date,rmssd_ms\r\n2031-07-06,57.6\r\n2031-07-07,66.4"),
        ("date,rmssd_ms\r2031-07-06,57.6\r", "date,rmssd_ms\r2031-07-06,57.6\r2031-07-07,66.4\r"),
        ("date,rmssd_ms\n", "date,rmssd_ms\n2031-07-07,66.4\n"),
        ("date,rmssd_ms", "date,rmssd_ms\n2031-07-07,66.4"),
        ("rmssd_ms,date\n57.6,2031-07-06\n", "rmssd_ms,date\n57.6,2031-07-06\n66.4,2031-07-07\n"),
        (
            "date,mood,rmssd_ms,note\n2031-07-06,3,57.6,\n",
            "date,mood,rmssd_ms,note\n2031-07-06,3,57.6,\n2031-07-07,,66.4,\n",
        ),
        (
            '"date","rmssd_ms","note"\n"2031-07-06","57.6",""\n',
            '"date","rmssd_ms","note"\n"2031-07-06","57.6",""\n"2031-07-07","66.4",""\n',
        ),
        (
            'date,rmssd_ms,note\n2031-07-06,57.6,"calm, then gusts"\n',
            'date,rmssd_ms,note\n2031-07-06,57.6,"calm, then gusts"\n2031-07-07,66.4,\n',
        ),
        (
            'date,rmssd_ms,note\n2031-07-06,57.6,"two\nlines"\n2031-07-08,58,\n',
            'date,rmssd_ms,note\n2031-07-06,57.6,"two\nlines"\n2031-07-07,66.4,\n2031-07-08,58,\n',
        ),
        (
            "date, rmssd_ms\n2031-07-05, 57.6\n2031-07-06, 58\n",
            "date, rmssd_ms\n2031-07-05, 57.6\n2031-07-06, 58\n2031-07-07, 66.4\n",
        ),
        # Newest first.
        (
            "date,rmssd_ms\n2031-07-08,58\n2031-07-06,57.6\n2031-07-05,60\n",
            "date,rmssd_ms\n2031-07-08,58\n2031-07-07,66.4\n2031-07-06,57.6\n2031-07-05,60\n",
        ),
        # In no order: at the end.
        (
            "date,rmssd_ms\n2031-07-08,58\n2031-07-05,60\n2031-07-06,57.6\n",
            "date,rmssd_ms\n2031-07-08,58\n2031-07-05,60\n2031-07-06,57.6\n2031-07-07,66.4\n",
        ),
        # Before the blank rows that a spreadsheet leaves; lines that are no rows stay as they are.
        (
            "date,rmssd_ms\n# a new strap\n2031-07-06,57.6\n,\n\n",
            "date,rmssd_ms\n# a new strap\n2031-07-06,57.6\n2031-07-07,66.4\n,\n\n",
        ),
        (
            "date,ln_rmssd\n2031-07-06,4.0536\n",
            "date,ln_rmssd\n2031-07-06,4.0536\n2031-07-07,4.195697\n",
        ),
    ],
)  # fmt: skip
def test_the_row_alone_is_added(before: str, after: str) -> None:
    assert entered(before, reading()) == after


def test_a_declared_dialect_is_written() -> None:
    toml = """
        [csv]
        separator = ";"
        decimal = ","
        encoding = "cp1252"
        [columns.readings]
        date = "Tag"
        rmssd_ms = "HRV (ms)"
        sensor = "Gerät"
    """
    before = "Gerät;Tag;HRV (ms)\r\nGürtel;2031-07-06;57,6\r\n"
    after = f"{before}Gürtel;2031-07-07;66,4\r\n"
    assert entered(before, reading(sensor="Gürtel"), toml=toml, encoding="cp1252") == after


def test_a_decimal_comma_among_commas_stands_in_quotes() -> None:
    toml = '[csv]\ndecimal = ","'
    before = 'date,rmssd_ms\n2031-07-06,"57,6"\n'
    assert entered(before, reading(), toml=toml) == f'{before}2031-07-07,"66,4"\n'


@pytest.mark.parametrize(
    ("declared", "mark", "codec"),
    [
        ("utf-8-sig", codecs.BOM_UTF8, "utf-8"),
        ("utf-8-sig", b"", "utf-8"),
        ("utf-16", codecs.BOM_UTF16_LE, "utf-16-le"),
        ("utf-16", codecs.BOM_UTF16_BE, "utf-16-be"),
        ("utf-16-be", b"", "utf-16-be"),
        ("latin-1", b"", "latin-1"),
    ],
)
def test_encoding_and_mark_are_kept(declared: str, mark: bytes, codec: str) -> None:
    how = read_settings(f'[csv]\nencoding = "{declared}"'.encode())
    before = "date,rmssd_ms,note\n2031-07-06,57.6,müde\n"
    row = "2031-07-07,66.4,\n"
    content = enter("readings", mark + before.encode(codec), [reading()], how).content
    assert content == mark + (before + row).encode(codec)


def test_a_letter_that_the_encoding_lacks_is_refused_by_name() -> None:
    row = Row("sessions", {"date": DAY, "type": "Łódź"})
    with pytest.raises(SeasonFilesError, match="cp1252, has no 'Ł'"):
        entered("date,type\n", row, toml='[csv]\nencoding = "cp1252"', encoding="cp1252")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (
            "date,rmssd_ms,sensor,mood,note\n2031-07-06,57.6,ring,2,\n2031-07-07,57.0,ring,3,bad\n",
            "date,rmssd_ms,sensor,mood,note\n2031-07-06,57.6,ring,2,\n2031-07-07,66.4,ring,3,bad\n",
        ),
        (
            'date,rmssd_ms\n2031-07-07,"57"\n2031-07-06,59\n',
            'date,rmssd_ms\n2031-07-07,"66.4"\n2031-07-06,59\n',
        ),
    ],
)
def test_a_row_that_replaces_changes_one_row_alone(before: str, after: str) -> None:
    row = Row("readings", {"date": DAY, "rmssd_ms": 66.4}, replaces=True)
    assert entered(before, row) == after
    written = enter("readings", before.encode(), [row], PLAIN)
    assert take_out("readings", written.content, written.placed, PLAIN) == before.encode()


def test_one_that_replaces_nothing_is_added() -> None:
    row = Row("readings", {"date": DAY, "rmssd_ms": 66.4}, replaces=True)
    before = "date,rmssd_ms\n2031-07-06,57.6\n"
    assert entered(before, row) == f"{before}2031-07-07,66.4\n"


def test_a_second_reading_of_a_night_is_refused() -> None:
    before = 'date,rmssd_ms,note\n2031-07-06,57.6,"a\nb"\n2031-07-07,57,\n'
    with pytest.raises(QuestionError, match=r"readings.csv: 2031-07-07 stands in line 4 already"):
        entered(before, reading())


def test_a_day_may_have_two_sessions_of_a_type() -> None:
    row = Row("sessions", {"date": DAY, "type": "hill run"})
    before = "date,type\n2031-07-07,hill run\n"
    assert entered(before, row) == f"{before}2031-07-07,hill run\n"


def test_a_column_that_is_needed_is_added_behind_the_others() -> None:
    row = Row("sessions", {"date": DAY, "type": "hill run", "dose": 0.5})
    before = "date,type,note\n2031-07-05,row,\n\n"
    written = enter("sessions", before.encode(), [row], PLAIN)
    after = b"date,type,note,dose\n2031-07-05,row,,\n2031-07-07,hill run,,0.5\n\n"
    assert (written.content, written.added) == (after, ["dose"])
    usual = Row("sessions", {"date": DAY, "type": "hill run", "dose": ""})
    assert enter("sessions", before.encode(), [usual], PLAIN).added == []


@pytest.mark.parametrize(
    ("row", "toml", "content"),
    [
        (reading(), "", b"date,rmssd_ms\n2031-07-07,66.4\n"),
        (reading(sensor="ring"), "", b"date,rmssd_ms,sensor\n2031-07-07,66.4,ring\n"),
        (
            reading(),
            '[csv]\nseparator = ";"\ndecimal = ","\nencoding = "utf-8-sig"\n'
            '[columns.readings]\ndate = "Tag; Morgen"',
            codecs.BOM_UTF8 + b'"Tag; Morgen";rmssd_ms\n2031-07-07;66,4\n',
        ),
        (Row("types", {"type": "hill run", "mode": "run"}), "", b"type,mode\nhill run,run\n"),
    ],
)
def test_a_new_file_has_the_columns_that_it_needs(row: Row, toml: str, content: bytes) -> None:
    assert enter(row.file, None, [row], read_settings(toml.encode())).content == content


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (Row("reading", {}), "no file reading.csv"),
        (Row("readings", {"date": DAY}), "needs its rmssd_ms"),
        (Row("readings", {"rmssd_ms": 60.0}), "needs its date"),
        (Row("readings", {"date": DAY, "rmssd_ms": -3.0}), "rmssd_ms '-3' is not above 0"),
        (Row("readings", {"date": DAY, "rmssd_ms": "66,4"}), "rmssd_ms '66,4' has a decimal comma"),
        (Row("readings", {"date": "7/7/2031", "rmssd_ms": 60.0}), "is not an ISO 8601 date"),
        (Row("readings", {"date": DAY, "rmssd_ms": 60.0, "mood": "3"}), "no column 'mood'"),
        (Row("sessions", {"date": DAY, "type": "hill\nrun"}), "holds a line break"),
        (Row("sessions", {"date": DAY, "type": " "}), "type is empty"),
        (Row("sessions", {"date": DAY, "type": "row", "dose": 0.0}), "dose '0' is not above 0"),
    ],
)
def test_a_row_that_check_would_refuse_is_not_written(row: Row, said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        enter(row.file, None, [row], PLAIN)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"day,rmssd_ms\n", "the column date is missing"),
        (b"date;rmssd_ms\n", "no comma, but a semicolon"),
        (b'date,rmssd_ms\n2031-07-01,"60\n', "double quotes do not pair up"),
        (b"date,rmssd_ms\n\xff", "is not utf-8 text"),
        (b"", "the file is empty"),
    ],
)
def test_a_file_that_cannot_be_told_is_left_alone(data: bytes, said: str) -> None:
    with pytest.raises(SeasonFilesError, match=said):
        enter("readings", data, [reading()], PLAIN)


def test_many_nights_find_their_places() -> None:
    days = [dt.date(2031, 1, 1) + dt.timedelta(n) for n in range(20)]
    there = "date,rmssd_ms\n" + "".join(f"{day},60\n" for day in days[::2])
    rows = [reading(61, day) for day in reversed(days[1::2])]
    assert [line[:10] for line in entered(there, *rows).splitlines()[1:]] == [*map(str, days)]
    falling = "\n".join(["date,rmssd_ms", *reversed(there.splitlines()[1:])])
    found = entered(falling, *rows).splitlines()[1:]
    assert [line[:10] for line in found] == [*map(str, reversed(days))]


@pytest.mark.parametrize(
    ("edited", "after"),
    [
        # Edited by hand elsewhere, or saved by a spreadsheet: just the row goes.
        ("date,rmssd_ms\n2031-07-06,58\n2031-07-07,66.4\n", "date,rmssd_ms\n2031-07-06,58\n"),
        (
            '"date","note","rmssd_ms"\r\n"2031-07-07","","66.40"\r\n"2031-07-06","x","58"\r\n',
            '"date","note","rmssd_ms"\r\n"2031-07-06","x","58"\r\n',
        ),
        ("date,rmssd_ms\n2031-07-07,66.4", "date,rmssd_ms"),
        # Gone already.
        ("date,rmssd_ms\n2031-07-06,58\n", "date,rmssd_ms\n2031-07-06,58\n"),
    ],
)
def test_just_the_row_is_taken_out_of_a_file_that_was_edited(edited: str, after: str) -> None:
    before = b"date,rmssd_ms\n2031-07-06,57.6\n"
    placed = enter("readings", before, [reading()], PLAIN).placed
    assert take_out("readings", edited.encode(), placed, PLAIN).decode() == after


def test_a_row_that_was_edited_is_not_taken_out() -> None:
    placed = enter("readings", b"date,rmssd_ms\n", [reading()], PLAIN).placed
    with pytest.raises(NoAnswerError, match=r"entry changed since: file='readings.csv', line=2"):
        take_out("readings", b"date,rmssd_ms\n2031-07-07,68\n", placed, PLAIN)


cells = st.text(alphabet="abä,;|\t\"' \n", max_size=6)


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(cells, cells), max_size=4),
    separator=st.sampled_from(sorted(SEPARATORS)),
    end=st.sampled_from(["\n", "\r\n"]),
    bare=st.booleans(),
    quoting=st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]),
)
def test_whatever_the_file_holds_all_of_it_stays(
    rows: Sequence[tuple[str, str]], separator: str, end: str, bare: bool, quoting: int
) -> None:
    """Read back by Python's csv module: the old rows as they were, and one more."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]
    writer.writerows([("date", "note", "type", "x")])
    writer.writerows([(f"2031-01-{n + 1:02}", a, "row", b) for n, (a, b) in enumerate(rows)])
    before = text.getvalue().removesuffix(end) if bare else text.getvalue()
    how = Settings(csv=type(PLAIN.csv)(separator=separator))
    label = 'a"b' if separator == "\t" else f"a{separator}b"
    row = Row("sessions", {"date": DAY, "type": label})
    written = enter("sessions", before.encode(), [row], how)
    after = written.content.decode()
    assert after.startswith(before)
    old, new = (
        [*csv.reader(io.StringIO(t, newline=""), delimiter=separator, strict=True)]
        for t in (before, after)
    )
    assert new == [*old, ["2031-07-07", "", label, ""]]
    assert after.endswith(end) != bare
    assert take_out("sessions", written.content, written.placed, how) == before.encode()
