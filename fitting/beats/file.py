"""From a file on disk to a recording: which kind it is, and how large it may be."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Final

from slackwater.fitting.beats.edf_file import read_edf
from slackwater.fitting.beats.recording import DAY_S, MOST_DAYS, Recording, RecordingError
from slackwater.fitting.beats.text_file import Wanted, read_text
from slackwater.fitting.beats.wfdb_file import HEADER, read_wfdb
from slackwater.fitting.intake.problems import Problem

TEXTS: Final = frozenset({".txt", ".csv", ".tsv", ".rr", ".rri", ".ibi", ".dat", ""})
EDF: Final = ".edf"
# A night is 30,000 to 50,000 beats: some 2 MB with long time stamps.
MOST_BYTES: Final = 20_000_000
MOST_BYTES_OF_EDF: Final = 2_000_000_000  # its signals are not read
MOST_LINES: Final = 500_000
LONGEST_LINE: Final = 10_000
_MARKS: Final = ((codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def is_recording(path: Path) -> bool:
    """Say whether a file of a folder is taken for a night's beats, from its name."""
    if path.name.startswith(".") or not path.is_file() or path.suffix.lower() == HEADER:
        return False
    return path.suffix.lower() in TEXTS - {".dat"} | {EDF} or _is_annotation(path)


def read_recording(path: Path, wanted: Wanted) -> Recording:
    """Return the recording that a file holds.

    Args:
        path: the file.
        wanted: what it leaves open.

    Raises:
        RecordingError: it is no regular file, too large, or does not hold beats.
    """
    file = path.name
    if not path.is_file():
        what = "this is no file" if path.exists() else "there is no such file"
        raise RecordingError(Problem(str(path), 1, 1, what, "give the file of a night's beats"))
    kind = path.suffix.lower()
    most = MOST_BYTES_OF_EDF if kind == EDF else MOST_BYTES
    if path.stat().st_size > most:
        what = f"the file has over {most // 1_000_000} MB, more than a night of beats can have"
        raise RecordingError(Problem(file, 1, 1, what, "give one night's beats alone"))
    if kind == HEADER:
        what, mend = "this is a record's header, not its beats", "give its annotations"
        raise RecordingError(Problem(file, 1, 1, what, f"{mend}, such as {path.stem}.atr"))
    if kind == EDF:
        recording = read_edf(path, wanted.label)
    elif _is_annotation(path):
        recording = read_wfdb(path)
    else:
        recording = read_text(file, _text(path), wanted)
    if recording.length_s > MOST_DAYS * DAY_S or not recording.rr_ms.size:
        long = recording.length_s > MOST_DAYS * DAY_S
        what = f"its beats span over {MOST_DAYS} days" if long else "it holds no interval"
        raise RecordingError(Problem(file, 1, 1, what, "give one night's beats"))
    return recording


def _is_annotation(path: Path) -> bool:
    kind = path.suffix.lower()
    own = {".atr", ".qrs", ".ecg", ".ari"}
    return kind in own or (kind not in TEXTS and path.with_suffix(HEADER).is_file())


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        what = f"the file cannot be read ({error.strerror})"
        raise RecordingError(Problem(path.name, 1, 1, what, "allow reading it")) from None
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), "utf-8-sig")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        what = f"byte 0x{data[error.start]:02x} is no UTF-8 text"
        mend = "save it as text in UTF-8; annotations of beats end in .atr, EDF+ files in .edf"
        raise RecordingError(Problem(path.name, line, 1, what, mend)) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    at = text.find("\0")
    if at >= 0:
        what, mend = "a NUL character stands here, so this is no text", "save it as text in UTF-8"
        raise RecordingError(Problem(path.name, text.count("\n", 0, at) + 1, 1, what, mend))
    lines = text.split("\n")
    if len(lines) > MOST_LINES:
        what = f"the file has over {MOST_LINES} lines, more than a night has beats"
        raise RecordingError(Problem(path.name, MOST_LINES + 1, 1, what, "give one night's beats"))
    for place, row in enumerate(lines, 1):
        if len(row) > LONGEST_LINE:
            what = f"the line has over {LONGEST_LINE} characters"
            raise RecordingError(Problem(path.name, place, 1, what, "give one interval a line"))
    return text
