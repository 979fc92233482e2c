"""One night: from its recording to its reading, or why there is none."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.beats.artefacts import (
    LARGEST_CHANGE,
    LONGEST_MS,
    SHORTEST_MS,
    judge,
)
from slackwater.fitting.beats.file import read_recording
from slackwater.fitting.beats.mornings import Edge, Window, morning, window_of
from slackwater.fitting.beats.recording import Bools, Recording, RecordingError
from slackwater.fitting.beats.rmssd import LEAST_KEPT, Rmssd, Segment, rmssd
from slackwater.fitting.beats.text_file import Wanted
from slackwater.fitting.intake.problems import Problem
from slackwater.model.errors import NoAnswerError, Reason

LEAST_OF_NIGHT: Final = 0.5  # of its beats kept; common practice, no source
# RMSSD of 2 minutes agrees with that of 5 (r 0.986; Munoz et al. 2015, PLoS ONE 10:e0138921).
SHORTEST_S: Final = 120.0
LONGEST_HOURS: Final = 16.0
# A normal spread cut at three standard deviations loses 3 % of its own.
REACH: Final = 3.0


class Asked(NamedTuple):
    """How a night is to be read.

    Attributes:
        wanted: what the file leaves open.
        begin: from when; its start if None.
        end: until when; its end if None.
        date: the date of its morning; told from the file if None.
    """

    wanted: Wanted = Wanted()
    begin: Edge = None
    end: Edge = None
    date: dt.date | None = None


@dataclass(frozen=True)
class Night:
    """The reading of one night.

    Attributes:
        date: the morning on which it ended.
        rmssd_ms: its RMSSD, ms.
        ln_rmssd: the natural logarithm of it.
        ln_sd: how exactly that is known, as a standard error.
        beats: intervals between beats in the window.
        kept_share: share of them that the reading is made from.
        rule: by what rule the others were taken out.
        taken_out: how many, for what; `segment`: left in a segment that does not count.
        gaps: how often the chain of beats is broken.
        file: where the beats are from.
        read_as: how the file was understood.
        starts: the local clock at the start of the recording, ISO 8601; None where not known.
        from_hours: the window's start, hours from the start of the recording.
        to_hours: its end.
        segments: of five minutes each.
        minds: what to mind with it.
    """

    date: dt.date
    rmssd_ms: float
    ln_rmssd: float
    ln_sd: float
    beats: int
    kept_share: float
    rule: Reason
    taken_out: Mapping[str, int]
    gaps: int
    file: str
    read_as: Reason
    starts: str | None
    from_hours: float
    to_hours: float
    segments: tuple[Segment, ...]
    minds: tuple[Reason, ...]


class Measured(NamedTuple):
    """A night with the beats that it was made from.

    Attributes:
        night: the reading.
        recording: the intervals of the window.
        counted: which of them the reading is made from.
    """

    night: Night
    recording: Recording
    counted: Bools


def rule() -> Reason:
    """Return the rule by which intervals are taken out."""
    return Reason(
        "intervals taken out",
        percent=100 * LARGEST_CHANGE,
        shortest=SHORTEST_MS,
        longest=LONGEST_MS,
        least=100 * LEAST_KEPT,
    )


def measure(path: Path, asked: Asked) -> Measured:
    """Return the reading of the night that a file holds.

    Raises:
        RecordingError: the file cannot be read, or nothing tells its night.
        QuestionError: the window does not fit it.
        NoAnswerError: too few beats are kept.
    """
    whole = read_recording(path, asked.wanted)
    window = window_of(whole, asked.begin, asked.end)
    date = asked.date or morning(whole, window, path.name)
    if date is None:
        what = "neither its name nor its content tells the night"
        mend = "give the date of its morning with --date, or in the file's name (2031-05-02)"
        raise RecordingError(Problem(path.name, 1, 1, what, mend))
    recording = whole.between(*window)
    judged = judge(recording)
    found = rmssd(recording, judged.kept, *window)
    _refuse_too_little(path.name, recording, found)
    kept = int(found.counted.sum())
    left_in = int(judged.kept.sum()) - kept
    night = Night(
        date=date,
        rmssd_ms=found.rmssd_ms,
        ln_rmssd=math.log(found.rmssd_ms),
        ln_sd=found.ln_sd,
        beats=recording.rr_ms.size,
        kept_share=kept / recording.rr_ms.size,
        rule=rule(),
        taken_out={**judged.counts(), "segment": left_in},
        gaps=int((~recording.joined[1:]).sum()),
        file=path.name,
        read_as=recording.read_as,
        starts=recording.starts.isoformat() if recording.starts else None,
        from_hours=window.since_s / 3600,
        to_hours=window.until_s / 3600,
        segments=found.segments,
        minds=tuple(_minds(date, recording, window, found)),
    )
    return Measured(night, recording, found.counted)


def _refuse_too_little(file: str, recording: Recording, found: Rmssd) -> None:
    beats, counted = recording.rr_ms.size, found.counted
    seconds = float(recording.rr_ms[counted].sum() / 1000)
    if recording.rr_ms.sum() / 1000 >= SHORTEST_S and counted.sum() < LEAST_OF_NIGHT * beats:
        raise NoAnswerError(
            Reason(
                "too few beats kept",
                file=file,
                percent=100 * float(counted.mean()),
                needed=100 * LEAST_OF_NIGHT,
            )
        )
    if seconds < SHORTEST_S:
        raise NoAnswerError(
            Reason("too short a recording", file=file, seconds=seconds, needed=SHORTEST_S)
        )
    if not (found.rmssd_ms > 0 and found.ln_sd > 0):
        raise NoAnswerError(Reason("intervals all alike", file=file))


def _minds(date: dt.date, recording: Recording, window: Window, found: Rmssd) -> list[Reason]:
    minds = []
    hours = (window.until_s - window.since_s) / 3600
    if hours > LONGEST_HOURS:
        minds.append(Reason("longer than a night", dates=[str(date)], hours=LONGEST_HOURS))
    reach = LARGEST_CHANGE * float(np.mean(recording.rr_ms[found.counted])) / found.rmssd_ms
    if reach < REACH:
        minds.append(Reason("rule cuts into the spread", dates=[str(date)], times=REACH))
    return minds
