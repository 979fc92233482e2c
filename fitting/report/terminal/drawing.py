"""Small pictures of characters, each to stand beside its numbers: strips and range bars."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text

from slackwater.fitting.report import words

_LEVELS: Final = "▁▂▃▄▅▆▇█"
_PLAIN_LEVELS: Final = "_.:-=+*#"  # for output that takes ASCII alone
_RANGE, _MIDDLE = "=o"


@dataclass(frozen=True)
class Strip:
    """Shares from 0 to 1 as a row of marks, the taller (in plain ASCII, the denser) the larger."""

    shares: Sequence[float]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the marks that the output can take."""
        levels = _PLAIN_LEVELS if options.ascii_only else _LEVELS
        last = len(levels) - 1
        marks = (levels[min(int(share * len(levels)), last)] for share in self.shares)
        yield Text("".join(marks), no_wrap=True)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Return the width, one column a mark."""
        return Measurement(len(self.shares), len(self.shares))


def ruler(days: int) -> str:
    """Return the days that stand over a strip's marks: the first and every fifth."""
    cells = [" "] * (days + 1)
    for day in (1, *range(5, days + 1, 5)):
        label = str(day)
        cells[day - 1 : day - 1 + len(label)] = label
    return "".join(cells).rstrip()


@dataclass(frozen=True)
class Scale:
    """A line of cells from one number to another, for range bars under each other."""

    low: float
    high: float
    cells: int

    @classmethod
    def over(cls, intervals: Iterable[words.Bounds], cells: int) -> Scale:
        """Return the scale, in whole numbers, on which all intervals find room."""
        bounds = [bound for values in intervals for bound in words.triple(values)]
        low, high = math.floor(min(bounds)), math.ceil(max(bounds))
        return cls(low, max(high, low + 1), cells)

    def ends(self, unit: str) -> str:
        """Return both ends as the heading of a column of bars."""
        low, high = f"{self.low:.0f}", f"{self.high:.0f} {unit}"
        return f"{low}{high:>{self.cells - len(low)}}"

    def bar(self, values: words.Bounds) -> Text:
        """Return an interval as a bar with its middle marked."""
        low, middle, high = (self._cell(bound) for bound in words.triple(values))
        marks = [" "] * self.cells
        marks[low : high + 1] = _RANGE * (high + 1 - low)
        marks[middle] = _MIDDLE
        return Text("".join(marks), no_wrap=True)

    def _cell(self, number: float) -> int:
        return round((number - self.low) / (self.high - self.low) * (self.cells - 1))
