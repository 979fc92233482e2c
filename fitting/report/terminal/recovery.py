"""Days to recover, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

import xarray as xr
from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.recovery import LONGEST_SHOWN, Recovery
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.drawing import Strip, ruler
from slackwater.fitting.report.terminal.pieces import Terms, heading_of, likely, new_table
from slackwater.fitting.state.back import FOUR_IN_FIVE
from slackwater.fitting.text import plural
from slackwater.model import names as n


def text(answer: Recovery) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, "Days to recover, counted from the session's date")
    rows = [answer.types.sel({n.TYPE: label}) for label in answer.types[n.TYPE].values]
    yield Text("  Days to plan with, in which four of five such sessions are recovered:")
    for row in rows:
        yield Text(f"  {row[n.TYPE].item()}: {to_plan_with(row)}")
    table = new_table("session type", "done", "dip", "typical days", "next session", "4 in 5 by")
    for row in rows:
        table.add_row(
            Text(str(row[n.TYPE].item())),
            str(int(row["sessions"])),
            words.tight_dip(row["dip_ln"]),
            words.tight(row["typical_days"]),
            words.tight(row["next_session_days"]),
            _by_day(row["days_for_chance"].sel(chance=0.8)),
        )
    yield table
    yield _chances_by_day(rows)
    yield Terms(
        "Dip: how far the first reading lies under baseline. "
        f"Recovered means the dip is under {answer.threshold.percent:.0f} % "
        f"({sentence(answer.threshold.rule)}). Typical days: a usual session of the type; next "
        f"session: any one more of it, as they differ; its chance to be recovered by each day is "
        f"drawn, the taller the likelier. {likely(answer.about.level)}"
    )


def to_plan_with(row: xr.Dataset) -> str:
    """Return the days in which four of five sessions of a type are recovered: "7 days"."""
    days = float(row["days_for_chance"].sel(chance=FOUR_IN_FIVE))
    return plural(int(days), "day") if days == days else f"more than {LONGEST_SHOWN} days"


def _chances_by_day(rows: list[xr.Dataset]) -> RenderableType:
    days = rows[0].sizes["day"]
    table = new_table("recovered by day", ruler(days), "half by", "9 in 10 by")
    table.columns[1].justify = "left"
    for row in rows:
        half, nine_in_ten = (row["days_for_chance"].sel(chance=c) for c in (0.5, 0.9))
        strip = Strip(row["chance_by_day"].values.tolist())
        table.add_row(Text(str(row[n.TYPE].item())), strip, _by_day(half), _by_day(nine_in_ten))
    return table


def _by_day(days: xr.DataArray) -> str:
    value = float(days)
    return f"day {value:.0f}" if value == value else f"after day {LONGEST_SHOWN}"
