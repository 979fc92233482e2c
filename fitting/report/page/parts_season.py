"""Parts about longer stretches: the plan, baseline over the season, what the fit is worth."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import xarray as xr

from slackwater.fitting.answers.history import QUARTER
from slackwater.fitting.report import words
from slackwater.fitting.report.page import pictures_season
from slackwater.fitting.report.page.part import Day, Part, Table, named
from slackwater.fitting.report.terminal import spacing
from slackwater.fitting.spacing.check import PLANNED_SESSION
from slackwater.fitting.spacing.done import MOVED, TO_COME
from slackwater.model import names as n

_WEEKS: Final = 8  # of the calendar, the latest of all that are planned
_ROWS: Final = 20  # planned sessions in the table, the latest


def plan(answer: xr.Dataset) -> Part:
    """Show the plans kept, and what became of them.

    Args:
        answer: the answer "spacing check".
    """
    facts = answer.attrs
    rows = [answer.isel({PLANNED_SESSION: i}) for i in range(answer.sizes[PLANNED_SESSION])]
    to_come = [row for row in rows if row["status"].item() == TO_COME]
    done = [row for row in rows if row["status"].item() != TO_COME]
    nearest = to_come[0] if to_come else None
    said = [] if nearest is None else [_next(nearest)]
    if done:
        said += [spacing.begun(answer), spacing.promise_kept(answer)]
    return Part(
        "plan",
        "The plan",
        tuple(said),
        Table(
            "Planned sessions that are past",
            ("session", "planned for", "became", "promised", "was recovered"),
            tuple(_became(row) for row in done[-_ROWS:]),
        )
        if done
        else None,
        notes=(
            "The chance beside a session was promised when the plan was made; ask for a plan again "
            "with each new reading.",
            *(words.sentence(facts[key]) for key in ("moved_rule", "judged_rule") if done),
        ),
        weeks=_weeks(rows),
    )


def _next(row: xr.Dataset) -> str:
    return (
        f"Next: {named(str(row['type'].item()))} on {words.day_name(str(row['date'].item()))}, "
        "with a promised chance to be recovered that morning of "
        f"{words.chance(float(row['promised']))}."
    )


def _became(row: xr.Dataset) -> tuple[str, ...]:
    status = str(row["status"].item())
    moved = f"moved to {words.day_name(str(row['done_on'].item()))}"
    back = float(row["chance_back"])
    return (
        named(str(row["type"].item())),
        words.day_name(str(row["date"].item())),
        moved if status == MOVED else status,
        words.chance(float(row["promised"])),
        words.chance(back) if back == back else "not known",
    )


def _weeks(rows: list[xr.Dataset]) -> tuple[tuple[Day, ...], ...]:
    by_date: dict[dt.date, list[tuple[str, str]]] = {}
    for row in rows:
        status, promised = str(row["status"].item()), words.chance(float(row["promised"]))
        how = f"{promised} to be recovered" if status == TO_COME else status
        date = dt.date.fromisoformat(str(row["date"].item()))
        by_date.setdefault(date, []).append((named(str(row["type"].item())), how))
    first, last = min(by_date), max(by_date)
    monday = first - dt.timedelta(days=first.weekday())
    weeks = []
    while monday <= last:
        days = (monday + dt.timedelta(days=i) for i in range(7))
        weeks.append(tuple(Day(str(d), _in_week(d), tuple(by_date.get(d, ()))) for d in days))
        monday += dt.timedelta(days=7)
    return tuple(weeks[-_WEEKS:])


def _in_week(day: dt.date) -> str:
    return f"{words.WEEKDAYS[day.weekday()][:3]} {words.short_date(str(day))}"


def history(answer: xr.Dataset, course: xr.Dataset) -> Part:
    """Show baseline over the season.

    Args:
        answer: the answer "history".
        course: the answer "course".
    """
    quarters = answer.attrs["quarters"]
    rows = [answer.isel({QUARTER: i}) for i in range(answer.sizes[QUARTER])]
    means = [words.milliseconds(row["baseline_rmssd_ms"]) for row in rows]
    return Part(
        "history",
        "Baseline over the season",
        tuple(_course_of_baseline(quarters, rows, means)),
        Table(
            "Mean baseline by quarter of the year",
            (
                "quarter", "nights read", "baseline", "change, %", "drift alone makes, %",
                "chance that it rose",
            ),
            tuple(
                (q["quarter"], str(q["nights_read"]), mean, *_change(row, i))
                for i, (q, row, mean) in enumerate(zip(quarters, rows, means, strict=True))
            ),
        ),
        pictures_season.over_season(course),
        _season_text(course, quarters, means),
        (
            "Drift alone: what the slow drift of baseline, as learnt from these readings, makes "
            "between such stretches by itself; a change of that size needs no other reason.",
            *_sensors(answer),
        ),
    )  # fmt: skip


def _course_of_baseline(
    quarters: list[dict[str, Any]], rows: list[xr.Dataset], means: list[str]
) -> list[str]:
    told = {quarters[i]["quarter"]: means[i] for i in (0, -1)}
    said = [f"Baseline was {', and '.join(f'{mean} in {q}' for q, mean in told.items())}."]
    if len(rows) > 1:
        change = words.signed_range(rows[-1]["change_percent"], 0, " %")
        chance = words.chance(float(rows[-1]["chance_rose"]))
        said.append(
            f"Against the quarter before, it changed by {change}; the chance that it rose is "
            f"{chance}."
        )
    return said


def _change(row: xr.Dataset, position: int) -> tuple[str, str, str]:
    if not position:
        return ("–", "–", "–")
    low, _, high = words.triple(row["drift_alone_percent"])
    return (
        words.signed_range(row["change_percent"], 0),
        f"{words.signed(low, 0)} to {words.signed(high, 0)}",
        words.chance(float(row["chance_rose"])),
    )


def _sensors(answer: xr.Dataset) -> list[str]:
    if n.OTHER_SENSOR not in answer.coords:
        return []
    steps = answer["sensor_step_percent"]
    latest = next(s["sensor"] for s in answer.attrs["sensors"] if s["reference"])
    return [
        f"{named(str(name))} reads {_step(steps, str(name))} against {named(latest)}; baseline, "
        f"and the readings in the pictures, are on the scale of {named(latest)}."
        for name in answer[n.OTHER_SENSOR].values
    ]


def _step(steps: xr.DataArray, sensor: str) -> str:
    return words.signed_range(steps.sel({n.OTHER_SENSOR: sensor}), 0, " %")


def _season_text(course: xr.Dataset, quarters: list[dict[str, Any]], means: list[str]) -> str:
    nights = course[n.NIGHT].values
    each = ", ".join(f"{q['quarter']} {mean}" for q, mean in zip(quarters, means, strict=True))
    first, last = (words.day_name(str(night)[:10]) for night in (nights[0], nights[-1]))
    return (
        f"Readings from {first} to {last} as dots, and baseline under them as a line with a band. "
        f"Mean baseline by quarter: {each}."
    )


def worth(answer: xr.Dataset) -> Part:
    """Say what the fit is worth.

    Args:
        answer: the answer "worth".
    """
    facts = answer.attrs
    nights = answer[n.NIGHT].values[-pictures_season.FORETOLD_SHOWN :]
    shown = answer.sel({n.NIGHT: nights})
    first, last = (words.day_name(str(night)[:10]) for night in (nights[0], nights[-1]))
    missed = [
        f"{words.day_name(str(night)[:10])} {float(shown['rmssd_ms'].sel({n.NIGHT: night})):.0f} ms"
        for night in nights[~shown["inside"].values]
    ]
    return Part(
        "worth",
        "What the fit is worth",
        tuple(facts["sentences"]),
        None,
        pictures_season.foretold(answer),
        f"The latest {len(nights)} readings, from {first} to {last}, with the range foretold for "
        f"each the night before. Outside their range: {', '.join(missed) or 'none'}.",
        (
            words.sentence(f"How readings are foretold: {facts['rule']}"),
            words.sentence(f"Last nights: {facts['recent_rule']}"),
        ),
    )
