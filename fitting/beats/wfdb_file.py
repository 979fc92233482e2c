"""Beats from WFDB annotations, through the library `wfdb`."""

from __future__ import annotations

import datetime as dt
import warnings
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting.beats.patience import bounded
from slackwater.fitting.beats.recording import Recording, RecordingError, from_beats
from slackwater.fitting.intake.problems import Problem
from slackwater.model.errors import Reason

# The symbols of beats: https://physionet.org, WFDB Applications Guide, annotation codes.
BEATS: Final = frozenset("NLRBAaJSVrFejnE/fQ?")
SINUS: Final = frozenset("NLRB")  # normal, and bundle branch blocks, which are paced by the node
_NO_BEATS: Final = frozenset("[!]")  # ventricular flutter, which has no beats to count
HEADER: Final = ".hea"


def read_wfdb(path: Path) -> Recording:
    """Return the recording that an annotation file holds.

    Args:
        path: the file, such as night.atr; night.hea beside it is read where it is there.

    Raises:
        RecordingError: the library is not installed, or the file holds no beats.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's notices to developers
        try:
            import wfdb
        except ImportError:
            raise RecordingError(extra_missing(path.name, "wfdb")) from None
        record = str(path.absolute().with_suffix(""))
        try:
            header = wfdb.rdheader(record) if path.with_suffix(HEADER).is_file() else None
            with bounded():
                annotations = wfdb.rdann(record, path.suffix[1:])
        except Exception as error:  # whatever bytes make the library stumble over
            what = f"this is no WFDB annotation file ({type(error).__name__})"
            mend = "give the annotations of beats, such as night.atr with night.hea beside it"
            raise RecordingError(Problem(path.name, 1, 1, what, mend)) from None
    rate = annotations.fs or (header and header.fs)
    if not rate or not rate > 0:
        what = "the sampling frequency is not known"
        mend = f"put the record's header, {path.stem}{HEADER}, beside it"
        raise RecordingError(Problem(path.name, 1, 1, what, mend))
    return _recording(path.name, annotations, float(rate), _starts(header))


def extra_missing(file: str, library: str) -> Problem:
    """Return the problem that a library of the extra `beats` is not installed."""
    what = f"reading it takes the library {library}, which is not installed"
    return Problem(file, 1, 1, what, "install it with: pip install 'slackwater[beats]'")


def _recording(file: str, annotations: Any, rate: float, starts: dt.datetime | None) -> Recording:
    samples, symbols = np.asarray(annotations.sample), annotations.symbol
    is_beat = np.array([symbol in BEATS for symbol in symbols], bool)
    breaks = np.cumsum([symbol in _NO_BEATS for symbol in symbols])
    if is_beat.sum() < 2:
        what = f"there are {int(is_beat.sum())} beats among its {len(symbols)} annotations"
        raise RecordingError(Problem(file, 1, 1, what, "give the annotations of a night's beats"))
    times = samples[is_beat] / rate
    if (np.diff(times) < 0).any():
        what, mend = "the beats do not follow each other in time", "write the annotations in order"
        raise RecordingError(Problem(file, 1, 1, what, mend))
    sinus = np.array([symbol in SINUS for symbol in symbols], bool)[is_beat]
    broken = np.append(False, np.diff(breaks[is_beat]) > 0)
    first = starts and starts + dt.timedelta(seconds=float(times[0]))
    read_as = Reason("read as annotations", form="WFDB", label="")
    return from_beats(times, read_as, first, sinus, broken)


def _starts(header: Any) -> dt.datetime | None:
    if header is None or header.base_date is None or header.base_time is None:
        return None
    return dt.datetime.combine(header.base_date, header.base_time)
