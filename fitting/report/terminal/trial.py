"""A trial's plan and its days, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.records.lots import RECOVERED
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import Details, heading_of, new_table
from slackwater.fitting.text import plural
from slackwater.fitting.trials.plan import TrialPlan
from slackwater.fitting.trials.sizes import OFFERED, SIZE
from slackwater.fitting.trials.today import TrialToday
from slackwater.model import names as n

_SHOWN_DAYS: Final = 6
NO_DUTY: Final = (
    "A lot never asks you to train, nor to use a measure while you are ill: leave it out then, and "
    "log the illness as a stressor."
)
_HOW_TO_USE: Final = (
    "Use it on the session's day and each day after, until the day before the next session of "
    "these types (at most 7 days), where the lot says so; and not at all in the other stretches. "
    "Choose and log the session first, then ask for its lot."
)


def plan(answer: TrialPlan) -> Iterable[RenderableType]:
    """Yield a plan for the terminal."""
    yield heading_of(answer, f"A trial of {answer.measure}")
    sessions, smallest = answer.sessions_per_arm, days(answer.smallest_days)
    even = "" if answer.planned else "Even "
    yield Text(
        f"  {even}{sessions} sessions with and {sessions} without it, in about "
        f"{answer.planned_weeks:.0f} weeks: the chance of the verdict 'faster' is "
        f"{_chances(answer.expected_chance)} if it saves {smallest} of a typical session."
    )
    found = answer.smallest_found_days
    if math.isfinite(found) and abs(found - answer.smallest_days) > 0.05:
        wanted = words.chance(answer.wanted_chance)
        many = "That many" if answer.planned else f"About {OFFERED}"
        yield Text(f"  {many} find an effect of {days(found)} with a chance of {wanted}.")
    rule = answer.smallest_rule
    why = f" ({sentence(rule)}; another can be asked for)" if rule else ""
    yield Text(
        f"  To save {smallest}{why} takes a recovery rate of "
        f"{words.ratio(answer.smallest_rate_ratio)}, for the types {', '.join(answer.types)}."
    )
    yield from (Text(f"  {said}") for said in _recovered(answer))
    yield _simulated(answer)
    yield Text(
        "Each simulated trial is trained as in your last weeks, randomised, read and fitted. In "
        "brackets: what so few trials can tell of the chance; the smoothed chance takes all sizes "
        f"together. Ranges hold {words.out_of_ten(answer.about.level)}."
    )
    if answer.planned:
        yield Text(_HOW_TO_USE)
    yield Text(f"Verdict, fixed now: {answer.verdict_rule}.")


def _recovered(answer: TrialPlan) -> list[str]:
    """Say what recovered days cost and buy."""
    found = answer.recovered
    if found is None or not math.isfinite(found.rate_sd):
        return []
    days = ", ".join(f"{label} after {count} days" for label, count in found.after.items())
    known, without = words.ratio_known(found.rate_sd), words.ratio_known(found.rate_sd_without)
    alone = "only what the measure adds to a reading by itself can show on them"
    if not found.days:
        said = (
            f"As you train, no day comes on which all is recovered from ({days}). Such days would "
            f"be drawn one by one: {alone}. At the end the rate is known to {known}."
        )
    else:
        said = (
            f"Days on which all is recovered from ({days}) are drawn one by one: {alone}. About "
            f"{found.days} come as you train, which cost no night more. At the end the rate is "
            f"known to {known} with them, {without} without."
        )
    return [
        said,
        f"{found.rest_days} nights of rest more would make that "
        f"{words.ratio_known(found.rate_sd_rested)}; as many of your usual training, "
        f"{words.ratio_known(found.rate_sd_trained)}. None are asked for.",
    ]


def _simulated(answer: TrialPlan) -> RenderableType:
    table = new_table(
        "sessions per arm", "weeks", "simulated", "ended 'faster'", "chance, smoothed"
    )
    for size in answer.simulated[SIZE].values:
        row = answer.simulated.sel({SIZE: size})
        low, _, high = words.triple(row["faster_share"])
        table.add_row(
            str(size),
            f"{float(row['weeks']):.0f}",
            str(int(row["trials"])),
            f"{int(row['faster'])} ({100 * low:.0f}–{100 * high:.0f} %)",
            words.chance(float(row["chance"])),
        )
    return table


def today(answer: TrialToday) -> Iterable[RenderableType]:
    """Yield what to do today for the terminal."""
    yield heading_of(answer, f"The trial of {answer.measure}, {answer.day}")
    yield Text(f"  {_asked(answer)}")
    if answer.stretch is not None:
        yield Text(f"  {NO_DUTY}")
    yield Text(
        f"  So far {plural(answer.reached['with'], 'session')} with and "
        f"{answer.reached['without']} without tell of recovery; the plan is "
        f"{answer.sessions_per_arm} of each."
    )
    if answer.recovered is not None:
        days_read = answer.recovered
        yield Text(
            f"  Recovered days read so far: {days_read['with']} with, {days_read['without']} "
            "without."
        )
    table = new_table("session type", "with", "of them told", "without", "of them told")
    for label in answer.types[n.TYPE].values:
        row = answer.types.sel({n.TYPE: label})
        counts = ("sessions_with", "counted_with", "sessions_without", "counted_without")
        table.add_row(Text(str(label)), *(str(int(row[name])) for name in counts))
    yield table
    for dates, said in (
        (answer.missed, "Assigned and not logged"),
        (answer.strayed, "Logged and not assigned"),
    ):
        if dates:
            yield Text(f"{said}: {_dates(dates)}.")
    yield Details(
        Text(
            "A session tells of recovery once one of its 2nd to 4th mornings was read before the "
            "next session is felt, without a stressor. The arm of a session is told when it is "
            "logged; interim results are not shown."
        )
    )


def _asked(answer: TrialToday) -> str:
    if answer.complete:
        return "The planned number is reached, so the trial can be judged."
    if answer.day < np.datetime64(answer.start):
        return f"Nothing yet: the trial begins with the first session from {answer.start} on."
    stretch = answer.stretch
    if stretch is None:
        return "Nothing is assigned today. Log a session of the trial's types, then ask again."
    do = f"Use {answer.measure} today" if answer.use else f"Leave {answer.measure} out today"
    if stretch.type == RECOVERED:
        return (
            f"{do}: all is recovered from, so that this day was drawn by itself. If you train "
            "today, log it and ask again."
        )
    return (
        f"{do}, and so until {stretch.until} or the day before the next session of the trial's "
        f"types, whichever comes first (the {stretch.type} of {stretch.first})."
    )


def days(number: float) -> str:
    """Return "1 day", "0.5 days"."""
    return "1 day" if number == 1 else f"{number:g} days"


def _dates(dates: Sequence[np.datetime64]) -> str:
    more = f" and {len(dates) - _SHOWN_DAYS} more" if len(dates) > _SHOWN_DAYS else ""
    return f"{', '.join(map(str, dates[:_SHOWN_DAYS]))}{more}"


def _chances(values: Interval) -> str:
    low, median, high = values
    return f"{words.chance(median)} ({100 * low:.0f} to {100 * high:.0f})"
