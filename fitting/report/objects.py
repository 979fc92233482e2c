"""An answer as one JSON object: its fields as they are.

Nothing is chosen here: what an answer holds, its JSON has under the same name. A number that is
not known is null, an interval an object of its median and bounds, a reason its sentence.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import About, Answer
from slackwater.fitting.answers.intervals import BOUND, WHOLE_DAYS, Interval
from slackwater.fitting.report.reasons import sentence
from slackwater.model import names as n
from slackwater.model.errors import Reason

Json = dict[str, Any]

SCHEMA: Final = 1
_DAY: Final = "day"  # numbers by day are pairs
_CHANCE: Final = "chance"  # numbers by chance are an object with the chances as keys
_HEADINGS: Final = {n.NIGHT: "date"}  # what a row is called by, where not by its dimension


def as_json(answer: Answer, more: Mapping[str, Any] | None = None) -> str:
    """Return an answer as the text of one JSON object, in ASCII, as any pipe can carry it.

    Args:
        answer: the answer.
        more: what stands behind its own fields.
    """
    return json.dumps(as_object(answer) | dict(more or {}), indent=2, allow_nan=False)


def as_object(answer: Answer) -> Json:
    """Return an answer as plain Python objects, numbers unrounded, None where unknown."""
    return about_object(answer.about) | _fields(answer, but="about")


def about_object(about: About) -> Json:
    """Return what an answer is about as plain Python objects."""
    return {
        "schema": SCHEMA,
        "season": about.season,
        "last_night": str(about.last_night),
        "level": about.level,
        "warnings": [sentence(reason) for reason in about.warnings],
        "reasons": [{"code": r.code, **plain(r.facts)} for r in about.warnings],
    }


def plain(value: Any) -> Any:
    """Return a value as plain Python objects."""
    match value:
        case np.datetime64():
            return None if np.isnat(value) else str(value.astype("datetime64[D]"))
        case np.generic():
            return plain(value.item())
        case None | bool() | int() | str():
            return value
        case float():
            return value if math.isfinite(value) else None
        case dt.date():
            return str(value)
        case Reason():
            return sentence(value)
        case Interval():
            low, median, high = map(plain, value)
            return {"median": median, "low": low, "high": high}
        case xr.DataArray():
            return _array(value)
        case xr.Dataset():
            return _rows(value)
        case Mapping():
            return {str(key): plain(each) for key, each in value.items()}
    if is_dataclass(value):
        return _fields(value)
    if hasattr(value, "model_dump"):
        return plain(value.model_dump())
    if hasattr(value, "_asdict"):
        return plain(value._asdict())
    return [plain(each) for each in value]


def _fields(value: Any, but: str = "") -> Json:
    names = [f.name for f in fields(value) if f.name != but]
    return {name.rstrip("_"): plain(getattr(value, name)) for name in names}


def _rows(table: xr.Dataset) -> list[Json]:
    """Return a table row by row: the dimension that all its columns have first is the row's."""
    (dim,) = {str(values.dims[0]) for values in table.data_vars.values()}
    columns = {str(name): _cells(values) for name, values in table.data_vars.items()}
    headings = _headings(table, dim)
    return [
        heading | {name: column[row] for name, column in columns.items()}
        for row, heading in enumerate(headings)
    ]


def _array(values: xr.DataArray) -> Any:
    """Return an array by itself; intervals of several things as a row each."""
    cells = _cells(values)
    if values.ndim > 1 and values.dims[-1] == BOUND:
        headings = _headings(values, str(values.dims[0]))
        return [heading | cell for heading, cell in zip(headings, cells, strict=True)]
    return cells


def _cells(values: xr.DataArray) -> Any:
    whole = values.attrs.get("units") == WHOLE_DAYS
    labels = {str(dim): values[dim].values for dim in values.dims if dim in values.coords}
    return _nested(values.values, [str(dim) for dim in values.dims], labels, whole)


def _nested(values: NDArray[Any], dims: list[str], labels: Mapping[str, Any], whole: bool) -> Any:
    if not dims:
        cell = plain(np.asarray(values)[()])  # a text among its like is no array
        return round(cell) if whole and cell is not None else cell
    dim, *inner = dims
    if dim == BOUND:
        return plain(Interval(*values.tolist()))
    each = (values[place, ...] for place in range(len(values)))  # arrays, of text too
    cells = [_nested(part, inner, labels, whole) for part in each]
    if dim == _DAY:
        return [[int(day), cell] for day, cell in zip(labels[dim], cells, strict=True)]
    if dim == _CHANCE:
        return {str(float(c)): cell for c, cell in zip(labels[dim], cells, strict=True)}
    return cells


def _headings(table: xr.Dataset | xr.DataArray, dim: str) -> list[Json]:
    """Return what each row is called by; nothing where the dimension has no labels."""
    if dim not in table.coords:
        return [{}] * table.sizes[dim]
    name = _HEADINGS.get(dim, dim)
    return [{name: plain(label)} for label in table[dim].values]
