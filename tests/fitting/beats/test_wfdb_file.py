"""WFDB annotations, written and read by the library, and read by it in another way."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats import patience
from slackwater.fitting.beats.file import read_recording
from slackwater.fitting.beats.recording import RecordingError
from slackwater.fitting.beats.text_file import Wanted
from tests.fitting.beats.nights import night

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    wfdb = pytest.importorskip("wfdb")
    from wfdb import processing

RATE = 360


@pytest.fixture(autouse=True)
def quiet() -> None:
    warnings.simplefilter("ignore")


def write(folder: Path, samples: np.ndarray, symbols: list[str], header: str = "") -> Path:
    wfdb.wrann("night", "atr", samples, symbol=symbols, fs=RATE, write_dir=str(folder))
    if header:
        (folder / "night.hea").write_text(header)
    return folder / "night.atr"


def samples_of(rr_ms: np.ndarray) -> np.ndarray:
    return np.round(np.append(100, 100 + np.cumsum(rr_ms) * RATE / 1000)).astype(int)


def test_intervals_are_those_that_the_library_counts(tmp_path: Path) -> None:
    samples = samples_of(night(np.random.default_rng(0), hours=0.5))
    path = write(
        tmp_path, samples, ["N"] * len(samples), f"night 0 {RATE} 648000 22:48:00 01/05/2031\n"
    )
    recording = read_recording(path, Wanted())
    counted = processing.ann2rr(str(tmp_path / "night"), "atr", as_array=True)
    np.testing.assert_allclose(recording.rr_ms, 1000 * counted[1:] / RATE, rtol=1e-12)
    assert str(recording.starts) == "2031-05-01 22:48:00.277778"
    assert recording.read_as.facts == {"form": "WFDB", "label": ""}


def test_labels_tell_the_sinus_beats_and_breaks(tmp_path: Path) -> None:
    samples = np.arange(1, 10) * 400
    symbols = ["+", "N", "N", "V", "N", "~", "N", "[", "N"]
    recording = read_recording(write(tmp_path, samples, symbols), Wanted())
    step = 400_000 / RATE
    np.testing.assert_allclose(recording.rr_ms, [step, step, step, 2 * step])
    assert recording.sinus.tolist() == [True, False, False, True]
    assert recording.joined.tolist() == [False, True, True, True]


def test_record_100_is_read_as_published(tmp_path: Path, open_data: Callable[[str], Path]) -> None:
    """MIT-BIH record 100: 2,273 beats, 27.4805 ms between normal ones (see test_artefacts)."""
    rr_ms, normal = np.loadtxt(open_data("physionet_rr/mitdb100_rr_ms_symbol.csv"), delimiter=",").T
    symbols = ["N", *("N" if beat else "A" for beat in normal)]
    recording = read_recording(write(tmp_path, samples_of(rr_ms), symbols), Wanted())
    good = recording.sinus[1:] & recording.sinus[:-1]
    found = np.sqrt(np.mean(np.diff(recording.rr_ms)[good] ** 2))
    assert found == pytest.approx(27.4805, abs=5e-4)


def test_damaged_annotations_are_refused_and_never_hang(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some of them send the library round in circles."""
    monkeypatch.setattr(patience, "SECONDS", 0.3)
    samples = samples_of(night(np.random.default_rng(0), hours=0.1))
    whole = write(tmp_path, samples, ["N"] * len(samples)).read_bytes()
    rng, outcomes = np.random.default_rng(1), set()
    for _ in range(15):
        damaged = bytearray(whole[: rng.integers(2, len(whole))])
        for place in rng.integers(0, len(damaged), 8):
            damaged[place] = rng.integers(0, 256)
        (tmp_path / "night.atr").write_bytes(bytes(damaged))
        try:
            read_recording(tmp_path / "night.atr", Wanted())
            outcomes.add("read")
        except RecordingError as refused:
            outcomes.add(refused.problem.what)
    assert len(outcomes) > 1


@pytest.mark.parametrize(
    ("data", "header", "said"),
    [(b"", "", "sampling frequency is not known"), (b"\x01\x04\x00\x00", "foo", "no WFDB")],
)
def test_files_without_beats_are_refused(
    tmp_path: Path, data: bytes, header: str, said: str
) -> None:
    (tmp_path / "night.atr").write_bytes(data)
    if header:
        (tmp_path / "night.hea").write_text(header)
    with pytest.raises(RecordingError, match=said):
        read_recording(tmp_path / "night.atr", Wanted())


def test_without_the_library_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "night.atr").write_bytes(b"")
    (tmp_path / "night.edf").write_bytes(b"")
    for name, library in (("night.atr", "wfdb"), ("night.edf", "edfio")):
        monkeypatch.setitem(__import__("sys").modules, library, None)
        with pytest.raises(RecordingError, match=rf"{library}.*pip install 'slackwater\[beats\]'"):
            read_recording(tmp_path / name, Wanted())
