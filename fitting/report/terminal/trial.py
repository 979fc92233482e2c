"""A trial's plan and its days, as terminal text and as JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any, Final

import xarray as xr
from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import (
    Json,
    heading_of,
    json_interval,
    json_number,
    new_table,
)
from slackwater.fitting.trials.today import ARM
from slackwater.model import names as n

_SHOWN_DAYS: Final = 6
_HOW_TO_USE: Final = (
    "Use it on the session's day and each day after, until the day before the next session of "
    "these types (at most 7 days), where the lot says so; and not at all in the other stretches. "
    "Choose and log the session first, then ask: slackwater trial today."
)


def plan_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield a plan for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, f"A trial of {facts['measure']}")
    sessions, weeks = int(answer["sessions_per_arm"]), float(answer["planned_weeks"])
    share, smallest = _chances(answer["expected_chance"]), days(facts["smallest"])
    even = "" if facts["planned"] else "Even "
    yield Text(
        f"  {even}{sessions} sessions with and {sessions} without it, in about {weeks:.0f} weeks: "
        f"the chance of the verdict 'faster' is {share} if it saves {smallest} of a typical "
        "session."
    )
    found = float(answer["smallest_found"])
    if math.isfinite(found) and abs(found - facts["smallest"]) > 0.05:
        wanted = words.chance(facts["wanted_chance"])
        yield Text(f"  That many find an effect of {days(found)} with a chance of {wanted}.")
    rule = facts["smallest_rule"]
    why = f" ({rule}; --smallest names another)" if rule else ""
    yield Text(
        f"  To save {smallest}{why} takes a recovery rate of "
        f"{words.ratio(answer['smallest_ratio'])}, for the types {listed(facts['types'])}."
    )
    table = new_table(
        "sessions per arm", "weeks", "simulated", "ended 'faster'", "chance, smoothed"
    )
    for size in answer["size"].values:
        row = answer.sel(size=size)
        seen = f"{int(row['faster'])} ({_percents(row['faster_share'])})"
        weeks = float(row["weeks"])
        chance = words.chance(float(row["chance"]))
        table.add_row(str(size), f"{weeks:.0f}", str(int(row["simulated"])), seen, chance)
    yield table
    yield Text(
        "Each simulated trial is trained as in your last weeks, randomised, read and fitted. In "
        "brackets: what so few trials can tell of the chance; the smoothed chance takes all sizes "
        f"together. Ranges hold {words.out_of_ten(facts['level'])}."
    )
    if facts["planned"]:
        yield Text(_HOW_TO_USE)
    yield Text(f"Verdict, fixed now: {facts['verdict_rule']}.")


def plan_body(answer: xr.Dataset) -> Json:
    """Return what is a plan's own of its JSON object."""
    facts = answer.attrs
    planned = facts["planned"]
    return {
        "measure": facts["measure"],
        "smallest_days": facts["smallest"],
        "smallest_rule": facts["smallest_rule"],
        "wanted_chance": facts["wanted_chance"],
        "types": facts["types"],
        "sessions_per_arm": int(answer["sessions_per_arm"]),
        "planned_weeks": float(answer["planned_weeks"]),
        "expected_chance": json_interval(answer["expected_chance"]),
        "smallest_found_days": json_number(answer["smallest_found"]),
        "smallest_rate_ratio": json_interval(answer["smallest_ratio"]),
        "simulated": [
            {
                "sessions_per_arm": int(size),
                "weeks": float(answer["weeks"].sel(size=size)),
                "trials": int(answer["simulated"].sel(size=size)),
                "faster": int(answer["faster"].sel(size=size)),
                "faster_share": json_interval(answer["faster_share"].sel(size=size)),
                "chance": float(answer["chance"].sel(size=size)),
            }
            for size in answer["size"].values
        ],
        "verdict_rule": facts["verdict_rule"],
        "planned": planned and planned | {"start": str(planned["start"])},
    }


def today_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield what to do today for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, f"The trial of {facts['measure']}, {facts['day']}")
    yield Text(f"  {_asked(facts)}")
    reached, planned = facts["reached"], int(answer["sessions_per_arm"])
    counted = words.plural(reached["with"], "session")
    yield Text(
        f"  So far {counted} with and {reached['without']} without tell of recovery; the plan is "
        f"{planned} of each."
    )
    table = new_table("session type", "with", "of them told", "without", "of them told")
    for label in answer[n.TYPE].values:
        row = answer.sel({n.TYPE: label})
        cells = [
            str(int(row[name].sel({ARM: arm})))
            for arm in answer[ARM].values
            for name in ("sessions", "counted")
        ]
        table.add_row(Text(str(label)), *cells)
    yield table
    for dates, said in (
        (facts["missed"], "Assigned and not logged"),
        (facts["strayed"], "Logged and not assigned"),
    ):
        if dates:
            yield Text(f"{said}: {_dates(dates)}.")
    yield Text(
        "A session tells of recovery once one of its 2nd to 4th mornings was read before the next "
        "session is felt, without a stressor. The arm of a session is told when it is logged; "
        "interim results are not shown."
    )


def _asked(facts: dict[str, Any]) -> str:
    if facts["complete"]:
        return "The planned number is reached: run slackwater trial analyse."
    if facts["day"] < facts["start"]:
        return f"Nothing yet: the trial begins with the first session from {facts['start']} on."
    stretch = facts["stretch"]
    if stretch is None:
        return "Nothing is assigned today. Log a session of the trial's types, then ask again."
    do = f"Use {facts['measure']} today" if facts["use"] else f"Leave {facts['measure']} out today"
    return (
        f"{do}, and so until {stretch['until']} or the day before the next session of the trial's "
        f"types, whichever comes first (the {stretch['type']} of {stretch['first']})."
    )


def today_body(answer: xr.Dataset) -> Json:
    """Return what is its own of the JSON object about a day."""
    facts = answer.attrs
    kept = (
        "measure", "status", "start", "day", "use", "stretch", "complete", "missed", "strayed",
        "marked",
    )  # fmt: skip
    return {
        **{key: facts[key] for key in kept},
        "sessions_per_arm": int(answer["sessions_per_arm"]),
        "reached": facts["reached"],
        "types": [
            {
                "type": str(label),
                **{
                    f"{name}_{arm}": int(answer[name].sel({n.TYPE: label, ARM: arm}))
                    for arm in answer[ARM].values
                    for name in ("sessions", "counted")
                },
            }
            for label in answer[n.TYPE].values
        ],
    }


def listed(names: Iterable[str]) -> str:
    """Return names with commas between them."""
    return ", ".join(names)


def days(number: float) -> str:
    """Return "1 day", "0.5 days"."""
    return "1 day" if number == 1 else f"{number:g} days"


def _dates(dates: list[str]) -> str:
    more = f" and {len(dates) - _SHOWN_DAYS} more" if len(dates) > _SHOWN_DAYS else ""
    return f"{listed(dates[:_SHOWN_DAYS])}{more}"


def _chances(values: xr.DataArray) -> str:
    low, median, high = words.triple(values)
    return f"{words.chance(median)} ({100 * low:.0f} to {100 * high:.0f})"


def _percents(values: xr.DataArray) -> str:
    low, _, high = words.triple(values)
    return f"{100 * low:.0f}–{100 * high:.0f} %"


TEXT: Final[dict[str, Callable[[xr.Dataset], Iterable[RenderableType]]]] = {
    "trial plan": plan_text,
    "trial today": today_text,
}
BODY: Final[dict[str, Callable[[xr.Dataset], Json]]] = {
    "trial plan": plan_body,
    "trial today": today_body,
}
