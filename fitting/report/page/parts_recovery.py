"""Parts about days to recover, by session type."""

from __future__ import annotations

from typing import Final

import xarray as xr

from slackwater.fitting.answers.recovery import Recovery
from slackwater.fitting.report import words
from slackwater.fitting.report.page import pictures_recovery
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.recovery import to_plan_with
from slackwater.model import names as n

_SHARES: Final = {0.5: "half", 0.8: "four of five", 0.9: "nine of ten"}


def recovery(answer: Recovery) -> Part:
    """Say how many days each type takes to recover from.

    Args:
        answer: the answer "recovery".
    """
    rows = _rows(answer)
    threshold = answer.threshold.percent
    return Part(
        "recovery",
        "Days to recover, by session type",
        tuple(_sentence(row) for row in rows[: pictures_recovery.MOST_TYPES]),
        Table(
            "Days are counted from the session's date",
            (
                "session type", "sessions", "dip, first night", "typical, days", "next, days",
                "4 in 5 by",
            ),
            tuple(_row(row) for row in rows),
        ),
        pictures_recovery.dips(answer),
        " ".join(_dip_text(row) for row in rows[: pictures_recovery.MOST_TYPES])
        + f" The threshold is a dip of {threshold:.0f} %.",
        (
            f"Recovered means that the dip is under the threshold of {threshold:.0f} %, "
            f"{sentence(answer.threshold.rule)}.",
            "A typical session is a usual one of its type, and its range is what is not known of "
            "it; the next session is any one more, and its range also holds how sessions differ.",
            *_not_drawn(len(rows)),
        ),
    )  # fmt: skip


def _rows(answer: Recovery) -> list[xr.Dataset]:
    return [answer.types.sel({n.TYPE: label}) for label in answer.types[n.TYPE].values]


def _not_drawn(count: int) -> tuple[str, ...]:
    most = pictures_recovery.MOST_TYPES
    if count <= most:
        return ()
    return (f"Sentences and pictures show {most} of {count} types; the table has them all.",)


def _sentence(row: xr.Dataset) -> str:
    label, days = named(str(row[n.TYPE].item())), to_plan_with(row)
    return f"{label}: plan with {days}, in which four of five such sessions are recovered."


def _last(row: xr.Dataset) -> int:
    return int(row["day"].values[-1])


def _row(row: xr.Dataset) -> tuple[str, ...]:
    by = float(row["days_for_chance"].sel(chance=0.8))
    return (
        named(str(row[n.TYPE].item())),
        str(int(row["sessions"])),
        words.tight_dip(row["dip_ln"]),
        words.tight(row["typical_days"]),
        words.tight(row["next_session_days"]),
        f"day {by:.0f}" if by == by else f"after day {_last(row)}",
    )


def _dip_text(row: xr.Dataset) -> str:
    left = row["dip_left_by_day_ln"]
    return (
        f"{named(str(row[n.TYPE].item()))}: the dip is "
        f"{words.percent_dip(left.isel(day=0))} on day 1, and under the threshold after "
        f"{words.days_range(row['typical_days'])} days."
    )


def chances(answer: Recovery) -> Part:
    """Say with which chance the next session of each type is recovered by each day.

    Args:
        answer: the answer "recovery".
    """
    rows = _rows(answer)
    rows = rows[: pictures_recovery.MOST_TYPES]
    return Part(
        "chances",
        "The chance to be recovered by each day",
        tuple(_by_share(row) for row in rows),
        None,
        pictures_recovery.chances(answer.types),
        " ".join(_chance_text(row, pictures_recovery.everyday(answer.types)) for row in rows),
        ("In percent, of the next session of the type, on the morning of each day.",),
    )


def _by_share(row: xr.Dataset) -> str:
    told = []
    for share, name in _SHARES.items():
        by = float(row["days_for_chance"].sel(chance=share))
        told.append(f"{name} by day {by:.0f}" if by == by else f"{name} after day {_last(row)}")
    return f"{named(str(row[n.TYPE].item()))}: {', '.join(told)}."


def _chance_text(row: xr.Dataset, days: list[int]) -> str:
    each = [f"day {d} {words.chance(float(row['chance_by_day'].sel(day=d)))}" for d in days]
    return f"{named(str(row[n.TYPE].item()))}: {', '.join(each)}."
