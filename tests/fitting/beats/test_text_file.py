"""Text files of beats: what is told from the cells, and what is asked about."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from slackwater.fitting.beats.recording import Recording, RecordingError
from slackwater.fitting.beats.text_file import Wanted, read_text

RNG = np.random.default_rng(0)
RR_MS = np.round(1000 + 40 * RNG.standard_normal(200))
START = dt.datetime(2031, 5, 1, 23, 58)
PLAIN = "\n".join(f"{v:g}" for v in RR_MS)


def read(text: str, **wanted: str) -> Recording:
    return read_text("night.csv", text, Wanted(**wanted))


def stamps(milliseconds: int = 3) -> list[str]:
    ends = [START + dt.timedelta(milliseconds=float(t)) for t in np.cumsum(RR_MS)]
    return [end.isoformat(timespec="milliseconds" if milliseconds else "seconds") for end in ends]


def table(*columns: list[str], header: str = "", separator: str = ",") -> str:
    rows = [separator.join(cells) for cells in zip(*columns, strict=True)]
    return "\n".join([*([header] if header else []), *rows, ""])


MS = [f"{v:g}" for v in RR_MS]
S = [f"{v / 1000:.3f}" for v in RR_MS]
ELAPSED = [f"{t:.3f}" for t in np.cumsum(RR_MS) / 1000]


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        (PLAIN, "ms"),
        (f"rr\n{PLAIN}\n", "ms"),
        (f"# made by hand\n\n{PLAIN}\n\n", "ms"),
        ("\n".join(S), "s"),
        (table(MS, ["1"] * 200, header="rr,normal"), "ms"),  # a flag is no interval
        (table(MS, [f"{60 + i % 9}" for i in range(200)], header="rr,bpm"), "ms"),
        (table([f"{i}" for i in range(200)], MS, header="n,rr"), "ms"),
        (table([v.replace(".", ",") for v in S], ["x"] * 200, separator=";"), "s"),
        (table(MS, ["a b"] * 200, separator="\t"), "ms"),
        (table(ELAPSED, S, separator="  "), "s"),
    ],
)
def test_intervals_are_told_by_their_size(text: str, unit: str) -> None:
    recording = read(text)
    np.testing.assert_allclose(recording.rr_ms, RR_MS, rtol=1e-12)
    assert recording.read_as.facts["unit"] == unit
    assert recording.joined[1:].all()


@pytest.mark.parametrize("column", [stamps(), ELAPSED, [f"{float(t) * 1000:.0f}" for t in ELAPSED]])
@pytest.mark.parametrize("header", ["beat", ""])
def test_times_of_beats_alone_are_read(column: list[str], header: str) -> None:
    recording = read(table(column, header=header))
    np.testing.assert_allclose(recording.rr_ms, RR_MS[1:], atol=1.01)  # of ms in time stamps
    assert recording.read_as.code == "read as times of beats"


def test_clocks_go_on_past_midnight() -> None:
    recording = read(table([stamp.split("T")[1] for stamp in stamps()]))
    np.testing.assert_allclose(recording.rr_ms, RR_MS[1:], atol=1.01)


def test_time_stamps_tell_the_start() -> None:
    recording = read(table(stamps(), MS, header="time,rr"))
    assert recording.starts == START
    np.testing.assert_allclose(recording.rr_ms, RR_MS)
    assert recording.read_as.code == "read as timed intervals"


def test_a_header_line_tells_the_start_or_the_day() -> None:
    assert read(f"# started 2031-05-01 23:58:00\n{PLAIN}").starts == START
    recording = read(f"# night of 2031-05-02\n{PLAIN}")
    assert recording.starts is None
    assert recording.day == dt.date(2031, 5, 2)


@pytest.mark.parametrize("milliseconds", [3, 0])
def test_beats_that_are_missing_between_time_stamps_break_the_chain(milliseconds: int) -> None:
    """Whole seconds do for a gap of several beats."""
    kept = [i for i in range(200) if not 100 <= i < 108]
    when = [stamps(milliseconds)[i] for i in kept]
    recording = read(table(when, [MS[i] for i in kept], header="time,rr"))
    assert np.flatnonzero(~recording.joined).tolist() == [0, 100]


def test_packets_of_beats_under_one_time_stamp_are_no_gaps() -> None:
    packets = [stamps()[3 * (i // 3) + 2] if i < 198 else stamps()[199] for i in range(200)]
    assert read(table(packets, MS, header="time,rr")).joined[1:].all()


def test_an_empty_cell_breaks_the_chain() -> None:
    cells = [*MS[:100], "nan", *MS[100:]]
    recording = read("\n".join(cells))
    assert len(recording.rr_ms) == 200
    assert np.flatnonzero(~recording.joined).tolist() == [0, 100]


def test_offsets_from_utc_carry_over_the_change_of_clocks() -> None:
    """Clocks are put back at 3:00, so that 2:59:59+02:00 is followed by 2:00:00+01:00."""
    first = dt.datetime(2031, 10, 26, 2, 59, 0, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    winter = dt.timezone(dt.timedelta(hours=1))
    ends = [first + dt.timedelta(milliseconds=float(t)) for t in np.cumsum(RR_MS)]
    cells = [(e if i < 60 else e.astimezone(winter)).isoformat() for i, e in enumerate(ends)]
    recording = read(table(cells, MS, header="time,rr"))
    assert recording.joined[1:].all()
    assert recording.starts == dt.datetime(2031, 10, 26, 2, 59, 0)


def test_what_is_left_open_can_be_told() -> None:
    both = table(MS, [f"{float(v) + 1:g}" for v in MS], header="raw,clean")
    np.testing.assert_allclose(read(both, column="clean").rr_ms, RR_MS + 1)
    np.testing.assert_allclose(read(both, column="1").rr_ms, RR_MS)
    of_1024 = "\n".join(f"{v:g}" for v in RR_MS)
    np.testing.assert_allclose(read(of_1024, unit="1/1024 s").rr_ms, RR_MS * 1000 / 1024)
    with_rate = table(ELAPSED, [f"{60 + i % 9}" for i in range(200)], header="t,bpm")
    assert len(read(with_rate, column="t").rr_ms) == 199


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "night.csv:1:1: there is nothing in it; give a file with one interval a line"),
        ("rr\n", "night.csv:1:1: nothing in it is a number or a time ('rr' stands first); "
         "give one RR interval a line, in ms or in s"),
        ("800\n8oo\n810\n820", "night.csv:2:1: '8oo' is no number; mend the cell, or leave the "
         "row out"),
        ("800\n1e999\n810\n820", "night.csv:2:1: '1e999' is no number; mend the cell, or leave "
         "the row out"),
        ("812,5\n830,2\n801,0", "night.csv:1:1: '812,5' may be one number with a decimal comma or "
         "two; write a decimal point, or part the fields with a semicolon"),
        ("rr\n812,5\n830,2", "night.csv:2:1: '812,5' may be one number with a decimal comma or "
         "two; write a decimal point, or part the fields with a semicolon"),
        ("55\n57\n56", "night.csv:1:1: these are no intervals between beats in ms (200 to 3000 in "
         "the middle) or in s (0.2 to 3): 56 is in the middle; give RR intervals, or say the unit "
         "with --unit"),
        ("a,b\n800,801\n810,811\n800,803", "night.csv:2:2: more than one column could hold the "
         "intervals ('a', 'b'); say which with --column"),
        ("t,bpm\n1,60\n2,61\n3,60", "night.csv:2:1: no column holds intervals, and whether its "
         "times are those of beats is left open; if they are, say so with --column 't'"),
        ("t;rr\n1;800\n2", "night.csv:3:2: the row has 1 fields, the first 2; write the row as "
         "the others"),
        ('t,rr\n1,"800\n2,810', "night.csv:3:1: the row's double quotes do not pair up "
         "(unexpected end of data); close the quoted field"),
        ("time,rr\n2031-05-01T23:00:00,800\n2031-05-01T22:59:00,800",
         "night.csv:3:1: the time goes back here; sort the rows; where clocks were put back, give "
         "stamps with their offset from UTC"),
        ("time\n2031-05-01T23:00:00\n2031-05-01T23:00:01+02:00",
         "night.csv:3:1: '2031-05-01T23:00:01+02:00' is written otherwise than the times before "
         "it; write all times alike"),
        ("time,rr\n2031-05-01T23:00:00,800\n,800\n2031-05-01T23:00:02,800",
         "night.csv:3:1: '' is no time, such as 2031-05-01T22:48:00.250; mend the cell, or leave "
         "the row out"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_named_with_its_place_and_mend(text: str, said: str) -> None:
    with pytest.raises(RecordingError) as refused:
        read(text)
    assert str(refused.value) == said


def test_a_column_that_there_is_not_is_told_the_others() -> None:
    with pytest.raises(RecordingError, match=r"no column 'x' .*; the columns are 't', 'rr'"):
        read("t,rr\n1,800\n2,810", column="x")
