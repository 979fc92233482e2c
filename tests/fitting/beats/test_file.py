"""Files on disk: kinds, bounds, and bytes of every kind."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats import file
from slackwater.fitting.beats.file import is_recording, read_recording
from slackwater.fitting.beats.recording import RecordingError
from slackwater.fitting.beats.text_file import Wanted

TEXT = "\n".join(f"{v:g}" for v in 1000 + 40 * np.random.default_rng(0).standard_normal(200))


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
        TEXT.replace("\n", "\r\n").encode(),
        TEXT.replace("\n", "\r").encode(),
    ],
)
def test_text_is_read_however_it_is_encoded(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "night.txt").write_bytes(data)
    assert len(read_recording(tmp_path / "night.txt", Wanted()).rr_ms) == 200


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.txt", b"800\n\xb5s\n", "a.txt:2:1: byte 0xb5 is no UTF-8 text; save it as text"),
        ("a.txt", b"800\n8\x0000\n", "a.txt:2:1: a NUL character stands here"),
        ("a.txt", b"9" * 20_000, "a.txt:1:1: the line has over 10000 characters"),
        ("a.txt", b"9\n" * 600_000, "a.txt:500001:1: the file has over 500000 lines"),
        ("a.txt", b"300000\n" + b"800\n" * 5, "a.txt:1:1: its beats span"),
        ("a.hea", b"a 0 360\n", "a.hea:1:1: this is a record's header, not its beats"),
    ],
)
def test_what_is_no_night_is_refused(
    tmp_path: Path, name: str, data: bytes, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "MOST_DAYS", 0.003)
    (tmp_path / name).write_bytes(data)
    with pytest.raises(RecordingError) as refused:
        read_recording(tmp_path / name, Wanted())
    assert str(refused.value).startswith(said)


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "large.txt").open("wb") as large:
        large.truncate(200_000_000)
    with pytest.raises(RecordingError, match="over 20 MB, more than a night of beats"):
        read_recording(tmp_path / "large.txt", Wanted())


def test_what_is_no_file_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.txt")
    for name, said in (("pipe.txt", "this is no file"), ("none.txt", "there is no such file")):
        with pytest.raises(RecordingError, match=said):
            read_recording(tmp_path / name, Wanted())
    assert not is_recording(tmp_path / "pipe.txt")


def test_files_are_told_by_their_names(tmp_path: Path) -> None:
    taken = ["a.txt", "b.CSV", "c.edf", "d.atr", "e.beats", "f"]
    for name in [*taken, "e.hea", "g.jpg", ".hidden.txt", "h.hea", "h.dat", "notes.md"]:
        (tmp_path / name).write_text("")
    assert sorted(p.name for p in tmp_path.iterdir() if is_recording(p)) == taken
