"""Parts about longer stretches: the plan, baseline over the season, what the fit is worth."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Final

from slackwater.fitting.answers.course import Course
from slackwater.fitting.answers.history import History, Quarter, SensorUse
from slackwater.fitting.answers.worth import Worth
from slackwater.fitting.report import words
from slackwater.fitting.report.page import pictures_season
from slackwater.fitting.report.page.part import Day, Part, Table, named
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal import spacing
from slackwater.fitting.spacing.check import PromisedSession, SpacingCheck
from slackwater.fitting.spacing.done import MOVED, TO_COME
from slackwater.fitting.text import weekday
from slackwater.model import names as n

_WEEKS: Final = 8  # of the calendar, the latest of all that are planned
_ROWS: Final = 20  # planned sessions in the table, the latest
_FORETELLING: Final = ("share inside", "errors compared")
_FORETOLD: Final = 42  # readings in the picture of what was foretold, the latest


def plan(answer: SpacingCheck) -> Part:
    """Show the plans kept, and what became of them.

    Args:
        answer: the answer "spacing check".
    """
    to_come = [row for row in answer.planned if row.status == TO_COME]
    past = [row for row in answer.planned if row.status != TO_COME]
    said = spacing.no_longer_holds(answer.overtaken) or [_next(row) for row in to_come[:1]]
    if past:
        said += [spacing.begun(answer), spacing.promise_kept(answer)]
    return Part(
        "plan",
        "The plan",
        tuple(said),
        Table(
            "Planned sessions that are past",
            ("session", "planned for", "became", "promised", "was recovered"),
            tuple(_became(row) for row in past[-_ROWS:]),
        )
        if past
        else None,
        notes=(
            "The chance beside a session was promised when the plan was made; ask for a plan again "
            "with each new reading.",
            *(
                words.sentence(sentence(rule))
                for rule in (answer.moved_rule, answer.judged_rule)
                if past
            ),
        ),
        weeks=_weeks(answer.planned),
    )


def _next(row: PromisedSession) -> str:
    return (
        f"Next: {named(row.type)} on {words.day_name(str(row.date))}, with a promised chance to be "
        f"recovered that morning of {words.chance(row.promised)}."
    )


def _became(row: PromisedSession) -> tuple[str, ...]:
    moved = f"moved to {words.day_name(str(row.done_on))}" if row.status == MOVED else ""
    return (
        named(row.type),
        words.day_name(str(row.date)),
        moved or row.status,
        words.chance(row.promised),
        "not known" if row.chance_back is None else words.chance(row.chance_back),
    )


def _weeks(rows: Iterable[PromisedSession]) -> tuple[tuple[Day, ...], ...]:
    by_date: dict[dt.date, list[tuple[str, str]]] = {}
    for row in rows:
        promised = f"{words.chance(row.promised)} to be recovered"
        how = promised if row.status == TO_COME else row.status
        by_date.setdefault(row.date, []).append((named(row.type), how))
    first, last = min(by_date), max(by_date)
    monday = first - dt.timedelta(days=first.weekday())
    weeks = []
    while monday <= last:
        days = (monday + dt.timedelta(days=i) for i in range(7))
        weeks.append(tuple(Day(str(d), _in_week(d), tuple(by_date.get(d, ()))) for d in days))
        monday += dt.timedelta(days=7)
    return tuple(weeks[-_WEEKS:])


def _in_week(day: dt.date) -> str:
    return f"{weekday(day)[:3]} {words.short_date(str(day))}"


def history(answer: History, course: Course) -> Part:
    """Show baseline over the season.

    Args:
        answer: the answer "history".
        course: the answer "course".
    """
    quarters = answer.quarters
    return Part(
        "history",
        "Baseline over the season",
        tuple(_course_of_baseline(quarters)),
        Table(
            "Mean baseline by quarter of the year",
            (
                "quarter", "nights read", "baseline", "change, %", "drift alone makes, %",
                "chance that it rose",
            ),
            tuple(_quarter(quarter) for quarter in quarters),
        ),
        pictures_season.over_season(course),
        _season_text(course, quarters),
        (
            "Drift alone: what the slow drift of baseline, as learnt from these readings, makes "
            "between such stretches by itself; a change of that size needs no other reason.",
            *_sensors(answer.sensors),
        ),
    )  # fmt: skip


def _course_of_baseline(quarters: Sequence[Quarter]) -> list[str]:
    last = quarters[-1]
    means = {q.quarter: words.milliseconds(q.baseline_rmssd_ms) for q in (quarters[0], last)}
    said = [f"Baseline was {', and '.join(f'{mean} in {q}' for q, mean in means.items())}."]
    if last.change_percent is not None and last.chance_rose is not None:
        said.append(
            "Against the quarter before, it changed by "
            f"{words.signed_range(last.change_percent, 0, ' %')}; the chance that it rose is "
            f"{words.chance(last.chance_rose)}."
        )
    return said


def _quarter(quarter: Quarter) -> tuple[str, ...]:
    change, drift, rose = quarter.change_percent, quarter.drift_alone_percent, quarter.chance_rose
    return (
        quarter.quarter,
        str(quarter.nights_read),
        words.milliseconds(quarter.baseline_rmssd_ms),
        words.signed_range(change, 0) if change else "–",
        words.signed_ends(drift, 0) if drift else "–",
        "–" if rose is None else words.chance(rose),
    )


def _sensors(sensors: Sequence[SensorUse]) -> list[str]:
    latest = named(next(use.sensor for use in sensors if use.reference))
    return [
        f"{named(use.sensor)} reads {words.signed_range(use.step_percent, 0, ' %')} against "
        f"{latest}; baseline, and the readings in the pictures, are on the scale of {latest}."
        for use in sensors
        if use.step_percent
    ]


def _season_text(course: Course, quarters: Sequence[Quarter]) -> str:
    nights = course.nights[n.NIGHT].values
    each = ", ".join(f"{q.quarter} {words.milliseconds(q.baseline_rmssd_ms)}" for q in quarters)
    first, last = (words.day_name(str(night)[:10]) for night in (nights[0], nights[-1]))
    return (
        f"Readings from {first} to {last} as dots, and baseline under them as a line with a band. "
        f"Mean baseline by quarter: {each}."
    )


def worth(answer: Worth) -> Part:
    """Say what the fit is worth.

    Args:
        answer: the answer "worth".
    """
    shown = answer.nights.isel({n.NIGHT: slice(-_FORETOLD, None)})
    days = [words.day_name(str(night)[:10]) for night in shown[n.NIGHT].values]
    missed = [
        f"{day} {reading:.0f} ms"
        for day, reading, inside in zip(
            days, shown["rmssd_ms"].values, shown["inside"].values, strict=True
        )
        if not inside
    ]
    return Part(
        "worth",
        "What the fit is worth",
        tuple(sentences(said for said in answer.sentences if said.code in _FORETELLING)),
        None,
        pictures_season.foretold(shown),
        f"The latest {len(days)} readings, from {days[0]} to {days[-1]}, with the range foretold "
        f"for each the night before. Outside their range: {', '.join(missed) or 'none'}.",
        (
            *sentences(said for said in answer.sentences if said.code not in _FORETELLING),
            words.sentence(f"How readings are foretold: {sentence(answer.rule)}"),
            words.sentence(f"Last nights: {sentence(answer.recent_rule)}"),
        ),
    )
