"""Which intervals count: a published rule, stated whole.

An interval is taken out where

- one of its beats is labelled as of no sinus origin, where a file has labels; or
- it lies outside 300 to 2,000 ms (200 to 30 beats a minute; common practice, no source); or
- it differs by more than 20 % of the interval before it from that interval, as both were recorded
  (Malik, Farrell, Cripps and Camm 1989, Eur Heart J 10:1060-1074). Just 20 % is kept. The first
  interval, and the first after a gap, have none before them.

A successive difference is taken between two intervals that both count and that follow each other
without a gap: a chain that something was taken out of is never closed.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.beats.recording import Bools, Floats, Recording

SHORTEST_MS: Final = 300.0
LONGEST_MS: Final = 2000.0
LARGEST_CHANGE: Final = 0.20
_ROUNDING: Final = 1e-9  # so that 110 after a computed 100.0 is judged like 1.1 after 1


class Judged(NamedTuple):
    """What the rule says of each interval, shape (I,) each.

    Attributes:
        labelled: taken out for the label of one of its beats.
        out_of_range: for its length.
        jump: for its difference from the one before.
    """

    labelled: Bools
    out_of_range: Bools
    jump: Bools

    @property
    def kept(self) -> Bools:
        """Which intervals count."""
        return np.asarray(~(self.labelled | self.out_of_range | self.jump))

    def counts(self) -> dict[str, int]:
        """Return how many were taken out for what, each under the first that holds."""
        out_of_range = self.out_of_range & ~self.labelled
        jump = self.jump & ~self.labelled & ~self.out_of_range
        return {
            "labelled": int(self.labelled.sum()),
            "out_of_range": int(out_of_range.sum()),
            "jump": int(jump.sum()),
        }


def judge(recording: Recording) -> Judged:
    """Return what the rule says of each interval."""
    rr_ms = recording.rr_ms
    jump = np.zeros(rr_ms.shape, bool)
    before = rr_ms[:-1]
    far = np.abs(np.diff(rr_ms)) > LARGEST_CHANGE * np.abs(before) * (1 + _ROUNDING)
    jump[1:] = far & recording.joined[1:]
    out_of_range = (rr_ms < SHORTEST_MS) | (rr_ms > LONGEST_MS)
    return Judged(~recording.sinus, out_of_range, jump)


def differences(recording: Recording, kept: Bools) -> Floats:
    """Return each interval's difference from the one before, ms; NaN where none may be taken."""
    found = np.full(recording.rr_ms.shape, np.nan)
    neighbours = kept[1:] & kept[:-1] & recording.joined[1:]
    found[1:][neighbours] = np.diff(recording.rr_ms)[neighbours]
    return found
