"""Contrasts between attribute values, as terminal text with a picture and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import numpy as np
import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.elements import CONTRAST, SAME_DAYS
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import json_interval

_NAMES: Final = 24  # columns of the picture for names
_CELLS: Final = 54  # and for the bars
_NEAR, _ZERO, _BAR, _ZERO_ON_BAR, _MIDDLE = ".|=#o"  # plain, for any terminal
_STEPS: Final = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_DIFFERENCES: Final = (
    "difference_days",
    "difference_dip_ln",
    "difference_half_life_days",
)
_CHANCES: Final = ("chance_a_slower", "chance_a_longer", "chance_b_longer", "chance_same")


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    title = f"What elements of training differ in, up to {facts['last_night']}"
    yield Text.assemble((f"{facts['season']}: ", "dim"), (title, "bold"))
    yield Text(f"  {sentence(answer)}")
    for attribute in dict.fromkeys(answer["attribute"].values):
        yield _table_of(answer, str(attribute))
    yield Text("Difference in typical days, the first minus the second:", style="bold")
    yield Text("\n".join(picture(answer)), no_wrap=True)
    yield from _sides(answer)
    yield from _inseparable(answer)
    misses = float(answer["expected_misses"])
    yield Text(
        "Each side is the mean over its types. Dip: difference of the first night's dips, in "
        f"points of percent of the reading. Dots mark the half day around no difference (|): "
        f"{facts['same_rule']}. Ranges hold {words.out_of_ten(facts['level'])}; of "
        f"{words.plural(answer.sizes[CONTRAST], 'range')} of days, {misses:.1f} would then be "
        "expected to miss, so read a single one that lies off zero with that in mind."
    )


def sentence(answer: xr.Dataset) -> str:
    """Name the contrasts whose whole range of days lies off zero."""
    found = []
    for i in range(answer.sizes[CONTRAST]):
        row = answer.isel({CONTRAST: i})
        low, _, high = words.triple(row["difference_days"])
        a, b = str(row["a"].values), str(row["b"].values)
        if low > 0 or high < 0:
            first, second = (a, b) if low > 0 else (b, a)
            found.append(f"{first} takes longer than {second}")
    if not found:
        return "No range of days lies off zero: these data show no difference in days."
    return f"{'; '.join(found)}."


def _table_of(answer: xr.Dataset, attribute: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column(Text(attribute), overflow="fold")
    for name in ("days", "dip, points", "half-life, days"):
        table.add_column(name, justify="right", no_wrap=True)
    for i in np.flatnonzero(answer["attribute"].values == attribute):
        row = answer.isel({CONTRAST: int(i)})
        table.add_row(
            Text(_name(row)),
            _signed(row["difference_days"], 1),
            _signed(row["difference_dip_percent"], 0),
            _signed(row["difference_half_life_days"], 1),
        )
    return table


def _name(row: xr.Dataset) -> str:
    return f"{row['a'].values} - {row['b'].values}"


def _signed(values: xr.DataArray, decimals: int) -> str:
    low, median, high = (_with_sign(value, decimals) for value in words.triple(values))
    return f"{median} ({low} to {high})"


def _with_sign(value: float, decimals: int) -> str:
    shown = f"{value:+.{decimals}f}"
    return shown[1:] if float(shown[1:]) == 0 else shown


def _sides(answer: xr.Dataset) -> Iterator[RenderableType]:
    by_attribute: dict[str, list[str]] = {}
    for value in answer.attrs["values"]:
        types = words.plural(len(value["types"]), "type")
        sessions = words.plural(value["sessions"], "session")
        told = by_attribute.setdefault(value["attribute"], [])
        told.append(f"{value['value']} {types}, {sessions}")
    for attribute, told in by_attribute.items():
        yield Text(f"{attribute}: {'; '.join(told)}.")


def _inseparable(answer: xr.Dataset) -> Iterator[RenderableType]:
    refused = [
        f"{pair['attribute']}, {pair['a']} against {pair['b']}: no answer. {pair['why']}"
        for pair in answer.attrs["refused"]
    ]
    said = [*refused, *answer.attrs["entangled"]]
    if said:
        yield Text("What these data cannot separate:", style="bold")
    for sentence in said:
        yield Text(f"  {sentence}")


def picture(answer: xr.Dataset) -> list[str]:
    """Return interval bars on one axis in days, a line each, at most 80 columns wide."""
    bounds = answer["difference_days"]
    low, high = (float(f(bounds)) for f in (np.min, np.max))
    low, high = min(low, -2 * SAME_DAYS), max(high, 2 * SAME_DAYS)
    scale = (_CELLS - 1) / (high - low)

    def cell(days: float) -> int:
        return round((days - low) * scale)

    lines = []
    attribute = ""
    for i in range(answer.sizes[CONTRAST]):
        row = answer.isel({CONTRAST: i})
        if str(row["attribute"].values) != attribute:
            attribute = str(row["attribute"].values)
            lines.append(_line(attribute, _empty(cell)))
        left, middle, right = (cell(days) for days in words.triple(row["difference_days"]))
        cells = _empty(cell)
        for at in range(left, right + 1):
            cells[at] = _ZERO_ON_BAR if at == cell(0) else _BAR
        cells[middle] = _MIDDLE
        lines.append(_line(f"  {_name(row)}", cells))
    return [*lines, *_axis(low, high, cell)]


def _empty(cell: Any) -> list[str]:
    cells = [" "] * _CELLS
    for at in range(cell(-SAME_DAYS), cell(SAME_DAYS) + 1):
        cells[at] = _NEAR
    cells[cell(0)] = _ZERO
    return cells


def _line(name: str, cells: list[str]) -> str:
    short = name if len(name) <= _NAMES else name[: _NAMES - 2] + ".."
    return f"{short:<{_NAMES}}{''.join(cells)}".rstrip()


def _axis(low: float, high: float, cell: Any) -> list[str]:
    step = next((s for s in _STEPS if (high - low) / s <= 8), _STEPS[-1])
    ruler, labels = ["-"] * _CELLS, [" "] * (_CELLS + 4)
    for k in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1):
        at = cell(k * step)
        ruler[at] = "+"
        shown = f"{k * step:+g}" if k else "0"
        start = min(max(at - len(shown) // 2, 0), _CELLS - len(shown))
        labels[start : start + len(shown)] = shown
    return [_line("", ruler), _line("days", labels)]


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    facts = answer.attrs
    return {
        "contrasts": [_contrast(answer.isel({CONTRAST: i})) for i in range(answer.sizes[CONTRAST])],
        "values": facts["values"],
        "same_within_days": SAME_DAYS,
        "same_rule": facts["same_rule"],
        "expected_misses": float(answer["expected_misses"]),
        "refused": facts["refused"],
        "entangled": facts["entangled"],
    }


def _contrast(row: xr.Dataset) -> dict[str, Any]:
    return {
        **{key: str(row[key].values) for key in ("attribute", "a", "b")},
        **{key: json_interval(row[key]) for key in _DIFFERENCES},
        **{key: float(row[key]) for key in _CHANCES},
        **{key: int(row[key]) for key in ("types_a", "types_b", "sessions_a", "sessions_b")},
    }
