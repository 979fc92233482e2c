"""Beats from the annotations of an EDF+ file, through the library `edfio`."""

from __future__ import annotations

import datetime as dt
import warnings
from collections import defaultdict
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting.beats.patience import bounded
from slackwater.fitting.beats.recording import Recording, RecordingError, from_beats
from slackwater.fitting.beats.wfdb_file import extra_missing
from slackwater.fitting.intake.problems import Problem, show
from slackwater.model.errors import Reason

FEWEST: Final = 60  # annotations of one text, before they may be taken for beats
_SHORTEST_S: Final = 0.2
_LONGEST_S: Final = 3.0
_SHOWN: Final = 6


def read_edf(path: Path, label: str | None) -> Recording:
    """Return the recording that the annotations of an EDF+ file are.

    Signals are not read.

    Args:
        path: the file.
        label: the text of the annotations that are beats; told from how they follow each other if
            left out.

    Raises:
        RecordingError: the library is not installed, the file holds no beats, or more than one
            text could be theirs.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's notices to developers
        try:
            import edfio
        except ImportError:
            raise RecordingError(extra_missing(path.name, "edfio")) from None
        try:
            edf = edfio.read_edf(path, lazy_load_data=True)
            with bounded():
                onsets = _onsets(edf.annotations)
            starts = _starts(edf)
        except Exception as error:  # whatever bytes make the library stumble over
            what = f"this is no EDF+ file ({type(error).__name__})"
            mend = "give an EDF+ file with an annotation for every beat"
            raise RecordingError(Problem(path.name, 1, 1, what, mend)) from None
    text = _text(path.name, onsets, label)
    times = np.array(onsets[text])
    first = starts and starts + dt.timedelta(seconds=float(times[0]))
    return from_beats(times, Reason("read as annotations", form="EDF+", label=text), first)


def _onsets(annotations: Any) -> dict[str, list[float]]:
    onsets: dict[str, list[float]] = defaultdict(list)
    for annotation in annotations:
        onsets[annotation.text].append(float(annotation.onset))
    return {text: sorted(times) for text, times in onsets.items()}


def _text(file: str, onsets: dict[str, list[float]], label: str | None) -> str:
    like = [text for text, times in onsets.items() if _like_beats(times)]
    if label is not None:
        like = [label] if len(onsets.get(label, ())) > 1 else []
    if len(like) == 1:
        return like[0]
    names = ", ".join(f"{show(text)} ({len(times)})" for text, times in [*onsets.items()][:_SHOWN])
    if like:
        what = f"annotations of more than one text could be the beats ({names})"
    else:
        what = f"no annotations could be the beats ({names or 'there are none'})"
    raise RecordingError(Problem(file, 1, 1, what, "say which text they have with --label"))


def _like_beats(times: list[float]) -> bool:
    if len(times) < FEWEST:
        return False
    return bool(_SHORTEST_S <= np.median(np.diff(times)) <= _LONGEST_S)


def _starts(edf: Any) -> dt.datetime | None:
    """Return the start by the local clock, None where the date was taken out of the header."""
    try:
        day = edf.startdate
    except ValueError:
        return None
    return dt.datetime.combine(day, edf.starttime)
