"""What was foreseen of the coming mornings, kept beside the posterior it comes from.

Working it out takes pandas, xarray and the whole season; a line a day should not wait for that.
Whatever works it out anyway keeps it in `.slackwater.mornings`, under a key made of all that it
rests on: a season or a posterior that was changed since does not find it.
"""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any, Final, NamedTuple

from slackwater.fitting.doubts.foreseen import Foreseen, from_draws
from slackwater.fitting.files import read_whole, write_whole
from slackwater.fitting.intake.settings import COLUMNS_OF, SETTINGS_FILE

FILE_NAME: Final = ".slackwater.mornings"
POSTERIOR: Final = "posterior.nc"
LEVEL: Final = 0.8  # credible mass of the intervals that are kept
_SEAL: Final = 128  # bytes at the posterior's end, which hold the digest of all before them
_FORM: Final = "slackwater mornings 1"  # another where the same files come to foretell otherwise


class Morning(NamedTuple):
    """What was foreseen of one morning's reading.

    Attributes:
        date: ISO date of the morning.
        low: lower end of the interval, ms.
        median: its middle, ms; what was expected.
        high: upper end, ms.
        ln_mean: mean of ln RMSSD.
        ln_sd: its standard deviation.
        centre: for some of the draws, the reading without its noise, ln ms.
        variance: for each of these, the level's variance, ln.
    """

    date: str
    low: float
    median: float
    high: float
    ln_mean: float
    ln_sd: float
    centre: list[float]
    variance: list[float]


class Mornings(NamedTuple):
    """What was foreseen from the morning of the last reading.

    Attributes:
        last_night: ISO date of that reading.
        noise_sd: for the same draws, SD of an ordinary night's noise, what lingers left out, ln.
        noise_tail: for each of these, SD of a night's log noise variance.
        nights: the coming mornings, in order.
    """

    last_night: str
    noise_sd: list[float]
    noise_tail: list[float]
    nights: Sequence[Morning]

    def foreseen(self, night: Morning) -> Foreseen:
        """Return the distribution of one of these mornings' reading, ln ms."""
        return from_draws(night.centre, night.variance, self.noise_sd, self.noise_tail)

    def of(self, day: dt.date) -> Morning | None:
        """Return what was foreseen of a day's morning; None where that is not among them."""
        return next((night for night in self.nights if night.date == day.isoformat()), None)


def key_of(folder: Path) -> str | None:
    """Return the key of a folder's season and posterior; None where there is no posterior."""
    digest = sha256(_FORM.encode())
    for name in (SETTINGS_FILE, *(f"{table}.csv" for table in COLUMNS_OF)):
        content = b"none"
        with suppress(OSError):
            content = read_whole(folder / name)
        digest.update(sha256(content).digest())
    try:
        path = folder / POSTERIOR
        if not path.is_file():
            return None
        with path.open("rb") as file:
            file.seek(-_SEAL, os.SEEK_END)
            digest.update(file.read())
    except OSError:
        return None
    return digest.hexdigest()


def read_mornings(folder: Path) -> Mornings | None:
    """Return what is kept; None where nothing is, or the season was changed since."""
    try:
        kept: dict[str, Any] = json.loads(read_whole(folder / FILE_NAME))
        if kept.pop("key") != key_of(folder):
            return None
        return Mornings(**kept | {"nights": [Morning(**night) for night in kept["nights"]]})
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def keep_mornings(folder: Path, mornings: Mornings, key: str) -> None:
    """Keep what was foreseen, where that can be written.

    Args:
        folder: the season folder.
        mornings: what was foreseen.
        key: that of the folder before anything of it was read.
    """
    if key != key_of(folder):
        return
    told = {"key": key, **mornings._asdict(), "nights": [n._asdict() for n in mornings.nights]}
    with suppress(OSError):
        write_whole(folder / FILE_NAME, json.dumps(told).encode())
