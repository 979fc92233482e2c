"""Contrasts between attribute values, as terminal text with a picture."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from typing import Final

import numpy as np
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.elements import SAME_DAYS, Contrast, Elements
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of
from slackwater.fitting.text import plural

_NAMES: Final = 24  # columns of the picture for names
_CELLS: Final = 54  # and for the bars
_NEAR, _ZERO, _BAR, _ZERO_ON_BAR, _MIDDLE = ".|=#o"  # plain, for any terminal
_STEPS: Final = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
Cell = Callable[[float], int]  # which cell stands for so many days


def text(answer: Elements) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    last_night = answer.about.last_night
    yield heading_of(answer, f"What elements of training differ in, up to {last_night}")
    yield Text(f"  {finding(answer)}")
    for attribute, rows in _by_attribute(answer.contrasts):
        yield _table_of(attribute, rows)
    yield Text("Difference in typical days, the first minus the second:", style="bold")
    yield Text("\n".join(picture(answer.contrasts)), no_wrap=True)
    yield from map(Details, _sides(answer))
    yield from _inseparable(answer)
    yield Terms(
        "Each side is the mean over its types. Dip: difference of the first night's dips, in "
        f"points of percent of the reading. Dots mark the half day around no difference (|): "
        f"{sentence(answer.same_rule)}. Ranges hold {words.out_of_ten(answer.about.level)}; of "
        f"{plural(len(answer.contrasts), 'range')} of days, {answer.expected_misses:.1f} would "
        "then be expected to miss, so read a single one that lies off zero with that in mind."
    )


def finding(answer: Elements) -> str:
    """Name the contrasts whose whole range of days lies off zero."""
    found = []
    for row in answer.contrasts:
        if row.off_zero:
            other = row.b if row.longer == row.a else row.a
            found.append(f"{row.longer} takes longer than {other}")
    if not found:
        return "No range of days lies off zero: these data show no difference in days."
    return f"{'; '.join(found)}."


def _by_attribute(rows: Iterable[Contrast]) -> Iterator[tuple[str, list[Contrast]]]:
    for attribute, alike in groupby(rows, key=lambda row: row.attribute):
        yield attribute, list(alike)


def _table_of(attribute: str, rows: Iterable[Contrast]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column(Text(attribute), overflow="fold")
    for name in ("days", "dip, points", "half-life, days"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in rows:
        table.add_row(
            Text(_name(row)),
            words.signed_range(row.difference_days, 1),
            words.signed_range(row.difference_dip_percent, 0),
            words.signed_range(row.difference_half_life_days, 1),
        )
    return table


def _name(row: Contrast) -> str:
    return f"{row.a} - {row.b}"


def _sides(answer: Elements) -> Iterator[RenderableType]:
    for attribute, values in groupby(answer.values, key=lambda value: value.attribute):
        told = [
            f"{v.value} {plural(len(v.types), 'type')}, {plural(v.sessions, 'session')}"
            for v in values
        ]
        yield Text(f"{attribute}: {'; '.join(told)}.")


def _inseparable(answer: Elements) -> Iterator[RenderableType]:
    refused = [
        f"{pair.attribute}, {pair.a} against {pair.b}: no answer. {sentence(pair.why)}"
        for pair in answer.refused
    ]
    said = [*refused, *sentences(answer.entangled)]
    if said:
        yield Text("What these data cannot separate:", style="bold")
    for each in said:
        yield Text(f"  {each}")


def picture(rows: Sequence[Contrast]) -> list[str]:
    """Return interval bars on one axis in days, a line each, at most 80 columns wide."""
    low = min(-2 * SAME_DAYS, *(row.difference_days.low for row in rows))
    high = max(2 * SAME_DAYS, *(row.difference_days.high for row in rows))
    scale = (_CELLS - 1) / (high - low)

    def cell(days: float) -> int:
        return round((days - low) * scale)

    lines = []
    for attribute, alike in _by_attribute(rows):
        lines.append(_line(attribute, _empty(cell)))
        lines += [_line(f"  {_name(row)}", _bar(row.difference_days, cell)) for row in alike]
    return [*lines, *_axis(low, high, cell)]


def _bar(values: Interval, cell: Cell) -> list[str]:
    left, middle, right = map(cell, values)
    cells = _empty(cell)
    for at in range(left, right + 1):
        cells[at] = _ZERO_ON_BAR if at == cell(0) else _BAR
    cells[middle] = _MIDDLE
    return cells


def _empty(cell: Cell) -> list[str]:
    cells = [" "] * _CELLS
    for at in range(cell(-SAME_DAYS), cell(SAME_DAYS) + 1):
        cells[at] = _NEAR
    cells[cell(0)] = _ZERO
    return cells


def _line(name: str, cells: list[str]) -> str:
    short = name if len(name) <= _NAMES else name[: _NAMES - 2] + ".."
    return f"{short:<{_NAMES}}{''.join(cells)}".rstrip()


def _axis(low: float, high: float, cell: Cell) -> list[str]:
    step = next((s for s in _STEPS if (high - low) / s <= 8), _STEPS[-1])
    ruler, labels = ["-"] * _CELLS, [" "] * (_CELLS + 4)
    for k in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1):
        at = cell(k * step)
        ruler[at] = "+"
        shown = f"{k * step:+g}" if k else "0"
        start = min(max(at - len(shown) // 2, 0), _CELLS - len(shown))
        labels[start : start + len(shown)] = shown
    return [_line("", ruler), _line("days", labels)]
