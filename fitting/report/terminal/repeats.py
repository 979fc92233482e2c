"""How far repeats agree and how many more are needed, as terminal text and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any, Final

import numpy as np
import xarray as xr
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.repeats import MORE, NEXT_FEW
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import (
    json_interval,
    json_number,
    json_whole,
    new_table,
)
from slackwater.fitting.state.own_recovery import UNDISTURBED
from slackwater.model import names as n

_LEGEND: Final = (
    "Undisturbed: over before anything else was logged. One in three beyond: the factor by which "
    "one of three of these sessions differs from the type's usual dip. Own days: the shortest and "
    "the longest of the sessions' middle estimates, each at its own dose; a session's own dip is "
    "read from a few nights and leans on its type's usual one. Back by a day, {promise}. The "
    "promise was learnt from these same sessions, so the two should agree; where found lies clear "
    "of promised, this type does not recover as the model has it. More needed: until the range of "
    "typical days is expected to be narrower than one day, on average; it can come out a third "
    "narrower or wider. Narrows by: {narrowing}; {gain}. Ranges hold {likely}."
)


def text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    facts = answer.attrs
    title = f"How far repeats agree, up to {facts['last_night']}"
    yield Text.assemble((f"{facts['season']}: ", "dim"), (title, "bold"))
    yield Text(
        "  One session in three differs from its type's usual dip by more than "
        f"{words.ratio(answer['session_factor'])}."
    )
    yield Text(f"  {_next(answer)}")
    yield _agreement(answer)
    yield _promise(answer)
    yield _more(answer)
    likely = words.out_of_ten(facts["level"])
    rules = {name: facts[f"{name}_rule"] for name in ("promise", "narrowing", "gain")}
    yield Text(_LEGEND.format(likely=likely, **rules))
    for label in answer[n.TYPE].values:
        yield Text(f"{label}, each session:", style="bold")
        yield _sessions(answer, str(label))


def _next(answer: xr.Dataset) -> str:
    label = answer.attrs["repeat_next"]
    if not label:
        return "No type needs repeating: each range of typical days is narrower than one day."
    if label not in answer[n.TYPE].values:
        return f"Of all types, {label} is the one that it would pay most to repeat next."
    row = answer.sel({n.TYPE: label})
    return (
        f"It would pay most to repeat {label} next: each of the next {NEXT_FEW} undisturbed "
        f"sessions is expected to take {float(row['narrowing_days']):.2f} days off its range of "
        f"typical days, now {float(row['width_days']):.1f} days wide, and "
        f"{words.chance(float(row['share_of_sessions']))} of your sessions are of this type. "
        "Train it only when you feel ready for it."
    )


def _rows(answer: xr.Dataset) -> Iterator[tuple[Text, xr.Dataset]]:
    for label in answer[n.TYPE].values:
        yield Text(str(label)), answer.sel({n.TYPE: label})


def _agreement(answer: xr.Dataset) -> Table:
    table = new_table("session type", "done", "undisturbed", "one in three beyond", "own days")
    for label, row in _rows(answer):
        apart = float(row["scatter_factor"].sel(bound="median"))
        table.add_row(
            label,
            str(int(row["sessions"])),
            str(int(row["undisturbed"])),
            "done once" if math.isnan(apart) else words.ratio(row["scatter_factor"]),
            f"{float(row['shortest_days']):.1f}–{float(row['longest_days']):.1f}",
        )
    return table


def _promise(answer: xr.Dataset) -> Table:
    table = new_table("session type", "back by", "promised", "found", "counted")
    for label, row in _rows(answer):
        day, judged = float(row["proposed_days"]), int(row["judged"])
        if math.isnan(day) or not judged:
            table.add_row(label, "later than day 30" if math.isnan(day) else f"day {day:.0f}")
            continue
        low, median, high = (100 * share for share in words.triple(row["found_share"]))
        table.add_row(
            label,
            f"day {day:.0f}",
            words.chance(float(row["promised_share"])),
            f"{median:.0f} % ({low:.0f}–{high:.0f})",
            words.plural(judged, "session"),
        )
    return table


def _more(answer: xr.Dataset) -> Table:
    table = new_table("session type", "typical days", "more needed", "narrows by", "share done")
    for label, row in _rows(answer):
        needed = float(row["more_needed"])
        table.add_row(
            label,
            words.tight(row["typical_days"]),
            f"more than {max(MORE)}" if math.isnan(needed) else f"{needed:.0f}",
            f"{float(row['narrowing_days']):.2f} days",
            words.chance(float(row["share_of_sessions"])),
        )
    return table


def _sessions(answer: xr.Dataset, label: str) -> Table:
    table = new_table("date", "dose", "dip", "own days")
    table.add_column("before it was over", overflow="fold")
    for i in _of_type(answer, label):
        row = answer.isel({n.SESSION: i})
        table.add_row(
            str(row["session_date"].values)[:10],
            f"{float(row['dose']):g}",
            words.tight_dip(row["own_dip_ln"]),
            words.tight(row["own_days"]),
            Text(_note(row)),
        )
    return table


def _note(row: xr.Dataset) -> str:
    by = str(row["disturbed_by"].values)
    notes = []
    if by != UNDISTURBED:
        after = int(row["disturbed_after"])
        when = f"{words.plural(after, 'day')} on" if after else "the same day"
        notes.append(f"{by}, {when}")
    if not bool(row["over"]):
        notes.append("not over yet")
    return "; ".join(notes)


def _of_type(answer: xr.Dataset, label: str) -> list[int]:
    return [int(i) for i in np.flatnonzero(answer["session_type"].values == label)]


def body(answer: xr.Dataset) -> dict[str, Any]:
    """Return what is the answer's own of its JSON object."""
    facts = answer.attrs
    return {
        "session_factor": json_interval(answer["session_factor"]),
        "repeat_next": facts["repeat_next"] or None,
        **{f"{name}_rule": facts[f"{name}_rule"] for name in ("narrowing", "gain", "promise")},
        "types": [_type(answer, str(label)) for label in answer[n.TYPE].values],
        "refused": [{"type": t, "why": why} for t, why in facts["refused"].items()],
    }


def _type(answer: xr.Dataset, label: str) -> dict[str, Any]:
    row = answer.sel({n.TYPE: label})
    widths = row["expected_width_days"]
    return {
        "type": label,
        "sessions": int(row["sessions"]),
        "undisturbed": int(row["undisturbed"]),
        "scatter_factor": json_interval(row["scatter_factor"]),
        "own_days_of_sessions": {
            "shortest": float(row["shortest_days"]),
            "longest": float(row["longest_days"]),
        },
        "promise": {
            "days": json_whole(row["proposed_days"]),
            "promised": json_number(row["promised_share"]),
            "found": json_interval(row["found_share"]),
            "sessions": int(row["judged"]),
        },
        "typical_days": json_interval(row["typical_days"]),
        "width_days": float(row["width_days"]),
        "more_needed": json_whole(row["more_needed"]),
        "more_looked_at": max(MORE),
        "expected_width_days": [
            [int(more), float(width)]
            for more, width in zip(widths["more"].values, widths.values, strict=True)
            if math.isfinite(width)
        ],
        "narrowing_days": float(row["narrowing_days"]),
        "share_of_sessions": float(row["share_of_sessions"]),
        "gain_days": float(row["gain_days"]),
        "each": [_session(answer.isel({n.SESSION: i})) for i in _of_type(answer, label)],
    }


def _session(row: xr.Dataset) -> dict[str, Any]:
    by = str(row["disturbed_by"].values)
    return {
        "date": str(row["session_date"].values)[:10],
        "dose": float(row["dose"]),
        "dip_ln": json_interval(row["own_dip_ln"]),
        "days": json_interval(row["own_days"]),
        "over": bool(row["over"]),
        "disturbed_by": by or None,
        "disturbed_after_days": json_whole(row["disturbed_after"]),
    }
