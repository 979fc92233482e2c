"""A plan, and planned against done, as terminal text."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import isfinite
from typing import Final

from rich import box
from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal.pieces import Terms, heading_of, likely
from slackwater.fitting.spacing.alternatives import (
    Alternative,
    AnotherDay,
    FewerSessions,
    MoreDays,
    NoRestDay,
)
from slackwater.fitting.spacing.check import SpacingCheck
from slackwater.fitting.spacing.done import MOVED
from slackwater.fitting.spacing.plan import FIXED, LOGGED, CalendarDay, SpacingPlan
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.text import plural, weekday
from slackwater.model.errors import Reason

_ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh")


def plan(answer: SpacingPlan) -> Iterable[RenderableType]:
    """Yield a plan, or what would have to give, for the terminal."""
    last = answer.start + dt.timedelta(days=answer.days - 1)
    yield heading_of(answer, f"A plan for {answer.start} to {last}")
    count = plural(sum(answer.wanted.values()), "session")
    promise = _promise(answer.chances)
    if answer.fits:
        finish = answer.sessions[-1].date
        yield Text(f"  It fits: {count}, the last on {finish}, {promise}.")
        yield _calendar(answer.calendar)
    else:
        days = plural(answer.days, "day")
        yield Text(f"  It does not fit: {count} in {days}, {promise}.")
        yield from _ways_out(answer)
    yield Terms(
        "Recovered: all dips together lie under the threshold "
        f"({sentence(answer.threshold_rule)}) on the morning of that day, the last reading before "
        f"its session. The plan: {sentence(answer.rule)}. Ask again with each new reading. "
        f"{likely(answer.about.level)}"
    )


def _promise(chances: Mapping[str, float]) -> str:
    if len(set(chances.values())) == 1:
        share = words.chance(next(iter(chances.values())))
        return f"each with a chance of at least {share} to be recovered that morning"
    each = ", ".join(f"{label} {words.chance(share)}" for label, share in chances.items())
    return f"each with at least the chance asked for to be recovered that morning ({each})"


def _calendar(days: Iterable[CalendarDay]) -> Table:
    table = _table("date", "day", "session")
    for heading in ("recovered", "asked", "dip left"):
        table.add_column(heading, justify="right", no_wrap=True)
    for day in days:
        table.add_row(
            str(day.date),
            _weekday(day.date),
            Text(_session(day)),
            words.chance(day.chance_recovered),
            "" if day.chance_asked is None else words.chance(day.chance_asked),
            words.tight_dip(day.dip_left_ln),
        )
    return table


def _session(day: CalendarDay) -> str:
    if day.session is None:
        return day.kind
    return f"{day.session} ({day.kind})" if day.kind in (FIXED, LOGGED) else day.session


def _weekday(date: dt.date) -> str:
    return weekday(date)[:3]


def _ways_out(answer: SpacingPlan) -> Iterator[RenderableType]:
    if answer.open_days < sum(answer.wanted.values()):
        yield Text(
            f"  Only {plural(answer.open_days, 'day')} can hold a session: at most one a "
            "day, and none on rest days and days with a logged session."
        )
    for short in answer.fixed_short:
        yield Text(
            f"  {short.type} fixed on {short.date} begins with a chance of "
            f"{words.chance(short.chance)}, even with nothing but fixed sessions planned; "
            f"{words.chance(short.asked)} is asked for."
        )
    if worst := answer.hardest:
        yield Text(
            f"  In the order that comes nearest, {worst.type} on {worst.date} begins with "
            f"a chance of {words.chance(worst.chance)}; {words.chance(worst.asked)} is "
            "asked for."
        )
    if answer.alternatives:
        yield Text("What would fit:", style="bold")
    for way in answer.alternatives:
        yield Text(f"  {_way(answer, way)}:")
        dated = [
            f"{_weekday(s.date)} {s.date} {s.type} ({words.chance(s.chance)})" for s in way.sessions
        ]
        yield Padding(Text(", ".join(dated)), (0, 0, 0, 4))
    if answer.more_days_help is False:
        yield Text(f"  More days alone do not help, in the {FARTHEST} that can be foreseen.")
    if answer.not_worked_out:
        kinds = ", ".join(dict.fromkeys(answer.not_worked_out))
        yield Text(f"  Not worked out, as there are too many plans to go through: {kinds}.")


def _way(answer: SpacingPlan, way: Alternative) -> str:
    count = plural(len(way.sessions), "session")
    within = f"{count} in {plural(max(way.days, answer.days), 'day')}"
    match way:
        case MoreDays():
            perhaps = "" if way.proven else " (perhaps fewer)"
            return f"{count} in {way.days} days{perhaps} instead of {answer.days}"
        case AnotherDay():
            moved = " and ".join(f"{m.type} not on {m.date}" for m in way.instead_of)
            return f"{within}, with {moved}"
        case NoRestDay():
            return f"{within}, with sessions allowed on {way.on}"
        case FewerSessions():
            return f"{within}, {_left_out(answer.wanted, way.left_out)}"
    raise TypeError(way)


def _left_out(wanted: Mapping[str, int], left_out: Mapping[str, int]) -> str:
    (label, count), *more = left_out.items()
    if more:
        parts = [f"{t} ({count} of {wanted[t]})" for t, count in left_out.items()]
        return f"leaving out {', '.join(parts)}"
    if count == wanted[label]:
        return f"without {label}"
    if count == 1 and wanted[label] <= len(_ORDINALS):
        return f"without the {_ORDINALS[wanted[label] - 1]} {label}"
    return f"with {wanted[label] - count} {label} instead of {wanted[label]}"


def check(answer: SpacingCheck) -> Iterable[RenderableType]:
    """Yield planned against done for the terminal."""
    yield heading_of(answer, f"Planned against done, up to {answer.about.last_night}")
    if answer.overtaken:
        yield Text(f"  {' '.join(no_longer_holds(answer.overtaken))}", style="bold")
    counts = [f"{count} {status}" for status, count in answer.counts.items()]
    planned = plural(len(answer.planned), "planned session")
    yield Text(f"  {planned}: {', '.join(counts)}.")
    yield Text(f"  Beside the plans, on their days: {plural(answer.done_beside, 'session')}.")
    yield Text(f"  {begun(answer)}")
    yield Text(f"  {promise_kept(answer)}")
    table = _table("planned", "day", "session", "was done")
    for heading in ("promised", "was back"):
        table.add_column(heading, justify="right", no_wrap=True)
    for row in answer.planned:
        table.add_row(
            str(row.date),
            _weekday(row.date),
            Text(row.type),
            str(row.done_on) if row.status == MOVED else row.status,
            words.chance(row.promised),
            "" if row.chance_back is None else words.chance(row.chance_back),
        )
    yield table
    yield Terms(
        "Was back: the chance, as the whole season now shows it, that all dips together lay under "
        f"the threshold on the morning it was done. {words.sentence(sentence(answer.moved_rule))} "
        f"{words.capital(sentence(answer.judged_rule))}; {sentence(answer.share_rule)}. Verdict: "
        f"{sentence(answer.verdict_rule)}. {likely(answer.about.level)}"
    )


def no_longer_holds(overtaken: Sequence[Reason]) -> list[str]:
    """Return that a plan no longer holds, why, and what to do; nothing where it does."""
    if not overtaken:
        return []
    dropped = overtaken[0].code == "planned before the drop"  # no plan is made then
    again = [] if dropped else ["Make a new one for what is left of it."]
    return ["The plan no longer holds.", *sentences(overtaken), *again]


def begun(answer: SpacingCheck) -> str:
    """Say how many of the sessions done began recovered."""
    if not answer.done:
        return "Of none of them can it be said yet whether it began recovered."
    low, middle, high = map(round, answer.done_back)
    return f"Of {answer.done} done, {middle} began recovered (likely {low} to {high})."


def promise_kept(answer: SpacingCheck) -> str:
    """Say whether the promised chances held, where they can be judged."""
    if answer.promised_mean is None:
        return "No promise can be judged yet: none done on its day, all as planned until then."
    promised = 100 * answer.promised_mean
    low, _, high = (100 * v for v in answer.share_back)
    off = answer.readings_off_percent
    shown = (
        f" Readings on these mornings lay {words.signed_range(off, 0, ' %')} off what was foretold."
        if isfinite(off.median)
        else ""
    )
    fewest, middle, most = map(round, answer.back_count)
    least, _, top = map(round, answer.promised_count)
    return (
        f"Of {answer.judged} done on the day, all as planned until then, {middle} began recovered "
        f"(likely {fewest} to {most}; the promises let {least} to {top} expect). Promised: "
        f"{promised:.0f} %; found: likely {low:.0f} to {high:.0f} %, {answer.verdict} "
        f"by the model's own dips.{shown}"
    )


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold", min_width=min(8, len(heading)))
    return table
