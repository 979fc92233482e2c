"""Many nights at once: the files of a folder, each measured in a process of its own turn."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Final

from slackwater.fitting.apart import end_with_parent
from slackwater.fitting.beats.file import is_recording
from slackwater.fitting.beats.night import Asked, Night, measure
from slackwater.fitting.beats.recording import RecordingError
from slackwater.fitting.intake.problems import Problem
from slackwater.model.errors import NoAnswerError, QuestionError, Reason

FEW: Final = 4  # files that are measured sooner than processes are started
MOST_FILES: Final = 5_000

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Refused:
    """A file that gives no reading.

    Attributes:
        file: its name.
        why: what is wrong with it, or why not.
    """

    file: str
    why: str | Reason


def files_in(folder: Path) -> tuple[list[Path], list[str]]:
    """Return the files of a folder that are taken for nights, and the names of the others.

    Raises:
        RecordingError: there are none, or far too many.
    """
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        what = f"the folder cannot be read ({error.strerror})"
        raise RecordingError(Problem(str(folder), 1, 1, what, "allow reading it")) from None
    files = [path for path in paths if is_recording(path)]
    if not files:
        what, mend = "no file in it is a night's beats", "give a folder of .txt, .csv, .atr or .edf"
        raise RecordingError(Problem(str(folder), 1, 1, what, mend))
    if len(files) > MOST_FILES:
        what = f"it has over {MOST_FILES} files"
        raise RecordingError(Problem(str(folder), 1, 1, what, "give a folder of fewer nights"))
    taken = {path.name for path in files}
    return files, [path.name for path in paths if path.name not in taken]


def measure_all(
    paths: Sequence[Path], asked: Asked, progress: Progress | None = None
) -> tuple[list[Night], list[Refused]]:
    """Return the nights of many files in the order of their dates, and the files that give none.

    Two files of one night give none.

    Args:
        paths: the files.
        asked: how they are to be read.
        progress: called with the files done and the files in all.
    """
    found = _each(paths, partial(night_or_why, asked=asked), progress)
    refused = [each for each in found if isinstance(each, Refused)]
    by_date: defaultdict[str, list[Night]] = defaultdict(list)
    for each in found:
        if isinstance(each, Night):
            by_date[str(each.date)].append(each)
    nights = []
    for date, alike in sorted(by_date.items()):
        if len(alike) == 1:
            nights += alike
        for night in alike if len(alike) > 1 else []:
            others = [other.file for other in alike if other is not night]
            why = Reason("two files of one night", date=date, others=others)
            refused.append(Refused(night.file, why))
    return nights, refused


def night_or_why(path: Path, asked: Asked) -> Night | Refused:
    """Return the night of a file, or why it gives none."""
    try:
        return measure(path, asked).night
    except NoAnswerError as error:
        return Refused(path.name, error.reasons[0])
    except (RecordingError, QuestionError) as error:
        return Refused(path.name, str(error))


def _each(
    paths: Sequence[Path], work: Callable[[Path], Night | Refused], progress: Progress | None
) -> list[Night | Refused]:
    found = []
    if len(paths) <= FEW:
        for done, path in enumerate(paths, start=1):
            found.append(work(path))
            if progress is not None:
                progress(done, len(paths))
        return found
    workers = min(os.cpu_count() or 1, len(paths))
    with ProcessPoolExecutor(workers, get_context("spawn"), end_with_parent) as pool:
        waiting = [pool.submit(work, path) for path in paths]
        try:
            for done, finished in enumerate(as_completed(waiting), start=1):
                finished.result()
                if progress is not None:
                    progress(done, len(paths))
        finally:
            pool.shutdown(cancel_futures=True)
    return [each.result() for each in waiting]
