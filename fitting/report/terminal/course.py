"""The course of a season, as terminal text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import xarray as xr
from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import (
    heading_of,
    json_interval,
    json_number,
    new_table,
)
from slackwater.model import names as n

_LATEST: Final = 14  # nights shown in a terminal
_SAME: Final = "same_sensor_rmssd_ms"


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the latest nights for the terminal."""
    yield heading_of(answer, f"The course up to {answer.attrs['last_night']}")
    table = new_table("morning", "reading", "state", "baseline")
    for i in range(max(0, answer.sizes[n.NIGHT] - _LATEST), answer.sizes[n.NIGHT]):
        row = answer.isel({n.NIGHT: i})
        reading = json_number(row["rmssd_ms"])
        table.add_row(
            str(row[n.NIGHT].values)[:10],
            "" if reading is None else f"{reading:.0f} ms",
            words.milliseconds(row["state_ms"]),
            words.milliseconds(row["baseline_ms"]),
        )
    yield table
    yield Text(
        "State: baseline minus what is left of all dips, as a reading shows them, without the "
        "night's noise; on the scale of the latest sensor. The latest "
        f"{words.plural(_LATEST, 'night')} at most. Ranges hold "
        f"{words.out_of_ten(answer.attrs['level'])}."
    )


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    return {
        "nights": [_night(answer.isel({n.NIGHT: i})) for i in range(answer.sizes[n.NIGHT])],
        "sessions": [
            {"date": str(date)[:10], "type": str(label)}
            for date, label in zip(
                answer[n.SESSION_DATE].values, answer[n.SESSION_TYPE].values, strict=True
            )
        ],
        "draws_used": answer.attrs["draws_used"],
    }


def _night(row: xr.Dataset) -> dict[str, Any]:
    return {
        "date": str(row[n.NIGHT].values)[:10],
        **{key: json_number(row[key]) for key in ("rmssd_ms", _SAME) if key in row},
        **{key: json_interval(row[key]) for key in ("state_ms", "baseline_ms")},
    }
