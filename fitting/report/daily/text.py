"""A line a day, and the last days side by side, as terminal text; made without pandas."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Final

from slackwater.fitting.daily.days import Day, Days
from slackwater.fitting.daily.logged import FIRST_FIT, Logged
from slackwater.fitting.intake.cells import ConfirmedRow
from slackwater.fitting.logbook import Entered, TakenBack
from slackwater.fitting.mornings import LEVEL
from slackwater.fitting.text import listed, plural
from slackwater.model.names import WEEKDAYS

CONFIRMED: Final = f"{ConfirmedRow.file}.csv"


def logged(found: Logged, what: str, today: dt.date) -> Iterator[str]:
    """Yield what was entered and what it means, a line each.

    Args:
        found: what was entered.
        what: the same in a few words.
        today: the day it is, to say "this morning" of it.
    """
    yield from entered(found.entered, what)
    if found.first_fit is not None:
        yield not_yet(found.first_fit)
    elif found.expected is not None and found.percent is not None:
        yield against_expected(found, today)
    elif found.ahead is not None:
        yield from _ahead(found)
    else:
        from slackwater.fitting.report.reasons import sentences

        yield from sentences(found.why_not)


def entered(found: Entered, what: str) -> Iterator[str]:
    """Yield which files have the rows now, and what else in them is new."""
    if not found.files:
        yield f"{what} is there already; nothing was written."
    for name in found.files:
        if name == CONFIRMED:
            yield f"{name} says that it is right, so it is not asked about again."
            continue
        made = ", a new file" if name in found.made else ""
        yield f"Logged {what}: {name}{made}."
    for name, headers in found.added.items():
        yield f"{name} has a new column behind the others: {listed(headers)}."


def in_its_place(day: dt.date, there: float) -> str:
    """Say that a reading would take another's place."""
    return (
        f"readings.csv has a reading of {day} already, {there:g} ms; this one would take its place."
    )


def not_yet(readings: int) -> str:
    """Say what is missing before anything can be foreseen."""
    nothing = "Nothing was learnt yet, so nothing was expected"
    more = readings_more(readings)
    if more:
        return f"{nothing}; the first fit takes {plural(more, 'more reading')}."
    return f"{nothing}; there are readings enough to learn from:"


def readings_more(readings: int) -> int:
    """Return how many readings the first fit still takes."""
    return max(0, FIRST_FIT - readings)


def against_expected(found: Logged, today: dt.date) -> str:
    """Say how a reading lies against what was foreseen of its morning."""
    assert found.expected
    assert found.percent is not None
    ms = float(found.row.cells["rmssd_ms"])  # type: ignore[arg-type]
    morning, percent = found.expected, round(found.percent)
    way = "over" if percent > 0 else "under"
    how = "what" if percent == 0 else f"{abs(percent)} % {way} what"
    when = "this morning" if found.date == today else f"on the morning of {found.date}"
    told = (
        f"{ms:g} ms: {how} was expected of you {when}: {morning.median:.0f} ms, "
        f"{10 * LEVEL:.0f} times in 10 between {morning.low:.0f} and {morning.high:.0f}."
    )
    if not morning.low <= ms <= morning.high:
        told += f" It lies {'below' if ms < morning.low else 'above'} these."
    return told


def _ahead(found: Logged) -> Iterator[str]:
    from slackwater.fitting.report import words
    from slackwater.fitting.report.reasons import sentence

    answer = found.ahead
    assert answer
    night = answer.nights.isel(night=-1)
    yield (
        f"Expected on the morning of {str(night['night'].values)[:10]}: "
        f"{words.milliseconds(night['rmssd_ms'])}, "
        f"{words.out_of_ten(answer.about.level)} in that range."
    )
    yield words.back(answer.back_by, answer.about.last_night, "if you rest then")
    for warning in answer.about.warnings:
        yield f"Mind: {sentence(warning)}"


def taken_back(found: TakenBack) -> Iterator[str]:
    """Yield what was undone."""
    where = f": {listed(found.files)}" if found.files else "; its rows were gone already"
    yield f"Took back {found.what}{where}."
    if found.more:
        yield f"Entries before it that can be undone as well: {found.more}."


def days(found: Sequence[Day], width: int) -> Iterator[str]:
    """Yield the last days side by side, no line longer than the terminal is wide."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for title in ("day", "reading"):
        table.add_column(title, justify="right" if title == "reading" else "left", no_wrap=True)
    for title in ("sessions", "measures", "stressors"):
        table.add_column(title, overflow="fold")
    for day in found:
        table.add_row(
            f"{WEEKDAYS[day.date.weekday()][:3]} {day.date}",
            "" if day.rmssd_ms is None else f"{day.rmssd_ms:.0f} ms",
            Text("\n".join(_session(*session) for session in day.sessions)),
            Text("\n".join(day.interventions)),
            Text("\n".join(day.stressors)),
        )
    console = Console(width=width, highlight=False)
    with console.capture() as capture:
        console.print(table)
    yield from (line.rstrip() for line in capture.get().splitlines())


def left_out(found: Days) -> Iterator[str]:
    """Yield what is not shown, and that there is nothing to show."""
    if not found.days:
        yield "Nothing is logged here yet."
    if found.problems:
        yield f"{plural(found.problems, 'problem')} in the files; see `check`."


def _session(label: str, dose: float) -> str:
    return label if dose == 1 else f"{label}, dose {dose:g}"
