"""EDF+ annotations, written and read by the library."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats.file import read_recording
from slackwater.fitting.beats.recording import RecordingError
from slackwater.fitting.beats.text_file import Wanted
from tests.fitting.beats.nights import night

edfio = pytest.importorskip("edfio")
RR_MS = night(np.random.default_rng(0), hours=0.2)
TIMES = np.append(5.0, 5.0 + np.cumsum(RR_MS) / 1000)


def write(
    path: Path, texts: dict[str, np.ndarray], day: dt.date | None = dt.date(2031, 5, 1)
) -> Path:
    annotations = [
        edfio.EdfAnnotation(float(t), None, text) for text, times in texts.items() for t in times
    ]
    edf = edfio.Edf(
        [],
        annotations=annotations,
        starttime=dt.time(22, 48),
        recording=edfio.Recording(startdate=day),
    )
    edf.write(path)
    return path


def test_the_one_text_that_follows_like_beats_is_taken(tmp_path: Path) -> None:
    path = write(
        tmp_path / "night.edf", {"Lights off": TIMES[:1], "beat": TIMES, "turn": TIMES[::90]}
    )
    recording = read_recording(path, Wanted())
    np.testing.assert_allclose(recording.rr_ms, RR_MS, atol=1e-6)
    assert recording.read_as.facts == {"form": "EDF+", "label": "beat"}
    assert recording.starts == dt.datetime(2031, 5, 1, 22, 48, 5)


def test_two_texts_that_could_be_beats_are_asked_about(tmp_path: Path) -> None:
    path = write(tmp_path / "night.edf", {"beat": TIMES, "pulse": TIMES + 0.2})
    with pytest.raises(RecordingError, match=r"more than one text .*'beat'.*'pulse'.*--label"):
        read_recording(path, Wanted())
    recording = read_recording(path, Wanted(label="pulse"))
    np.testing.assert_allclose(recording.rr_ms, RR_MS, atol=1e-6)


def test_no_text_that_could_be_beats_is_told_what_there_is(tmp_path: Path) -> None:
    path = write(tmp_path / "night.edf", {"turn": TIMES[::90]})
    with pytest.raises(RecordingError, match=r"no annotations could be the beats \('turn' \(8\)\)"):
        read_recording(path, Wanted())


def test_a_date_taken_out_of_the_header_is_not_known(tmp_path: Path) -> None:
    path = write(tmp_path / "night.edf", {"beat": TIMES}, day=None)
    assert read_recording(path, Wanted()).starts is None


def test_damaged_files_are_refused(tmp_path: Path) -> None:
    whole = write(tmp_path / "night.edf", {"beat": TIMES}).read_bytes()
    rng, refused = np.random.default_rng(0), 0
    for _ in range(20):
        damaged = bytearray(whole)
        for place in rng.integers(0, 512, 20):
            damaged[place] = rng.integers(0, 256)
        (tmp_path / "night.edf").write_bytes(bytes(damaged))
        try:
            assert len(read_recording(tmp_path / "night.edf", Wanted()).rr_ms) == len(RR_MS)
        except RecordingError as error:
            refused += "no EDF" in str(error)
    assert refused > 10
