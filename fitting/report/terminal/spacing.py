"""A plan, and planned against done, as terminal text and as JSON."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import heading_of, json_interval, json_number
from slackwater.fitting.spacing.check import PLANNED_SESSION
from slackwater.fitting.spacing.done import MISSED, MOVED, ON_THE_DAY, TO_COME
from slackwater.fitting.spacing.plan import FIXED, LOGGED, PLAN_DAY, PLANNED, REST
from slackwater.fitting.state.ahead import FARTHEST

Facts = dict[str, Any]

_NAMES: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh")


def _plan_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    facts = answer.attrs
    last = dt.date.fromisoformat(facts["start"]) + dt.timedelta(days=facts["days"] - 1)
    yield heading_of(answer, f"A plan for {facts['start']} to {last}")
    count = words.plural(sum(facts["wanted"].values()), "session")
    if facts["fits"]:
        finish = facts["sessions"][-1]["date"]
        yield Text(f"  It fits: {count}, the last on {finish}, {_promise(facts)}.")
        yield _calendar(answer)
    else:
        days = words.plural(facts["days"], "day")
        yield Text(f"  It does not fit: {count} in {days}, {_promise(facts)}.")
        yield from _ways_out(facts)
    yield Text(
        "Recovered: all dips together lie under the threshold "
        f"({facts['threshold_rule']}) on the morning of that day, the last reading before its "
        f"session. The plan: {facts['rule']}. Ask again with each new reading. "
        f"Ranges hold {words.out_of_ten(facts['level'])}."
    )


def _promise(facts: Facts) -> str:
    chances = facts["chances"]
    if len(set(chances.values())) == 1:
        share = words.chance(next(iter(chances.values())))
        return f"each with a chance of at least {share} to be recovered that morning"
    each = ", ".join(f"{label} {words.chance(share)}" for label, share in chances.items())
    return f"each with at least the chance asked for to be recovered that morning ({each})"


def _calendar(answer: xr.Dataset) -> Table:
    table = _table("date", "day", "session")
    for heading in ("recovered", "asked", "dip left"):
        table.add_column(heading, justify="right", no_wrap=True)
    for day in answer[PLAN_DAY].values:
        row = answer.sel({PLAN_DAY: day})
        date, asked = str(day)[:10], float(row["chance_asked"])
        table.add_row(
            date,
            _weekday(date),
            Text(_session(str(row["session"].item()), str(row["kind"].item()))),
            words.chance(float(row["chance_recovered"])),
            "" if math.isnan(asked) else words.chance(asked),
            words.tight_dip(row["dip_left_ln"]),
        )
    return table


def _session(label: str, kind: str) -> str:
    return {PLANNED: label, FIXED: f"{label} (fixed)", LOGGED: f"{label} (logged)"}.get(kind, REST)


def _weekday(date: str) -> str:
    return _NAMES[dt.date.fromisoformat(date).weekday()]


def _ways_out(facts: Facts) -> Iterator[RenderableType]:
    if facts["open_days"] < sum(facts["wanted"].values()):
        yield Text(
            f"  Only {words.plural(facts['open_days'], 'day')} can hold a session: at most one a "
            "day, and none on rest days and days with a logged session."
        )
    for short in facts["fixed_short"]:
        yield Text(
            f"  {short['type']} fixed on {short['date']} begins with a chance of "
            f"{words.chance(short['chance'])}, even with nothing but fixed sessions planned; "
            f"{words.chance(short['asked'])} is asked for."
        )
    if facts["closest"]:
        worst = min(facts["closest"], key=lambda s: s["chance"] - s["asked"])
        yield Text(
            f"  In the order that comes nearest, {worst['type']} on {worst['date']} begins with "
            f"a chance of {words.chance(worst['chance'])}; {words.chance(worst['asked'])} is "
            "asked for."
        )
    if facts["alternatives"]:
        yield Text("What would fit:", style="bold")
    for way in facts["alternatives"]:
        yield Text(f"  {_way(facts, way)}:")
        dated = [
            f"{_weekday(s['date'])} {s['date']} {s['type']} ({words.chance(s['chance'])})"
            for s in way["sessions"]
        ]
        yield Padding(Text(", ".join(dated)), (0, 0, 0, 4))
    kinds = [way["kind"] for way in facts["alternatives"]]
    if "more days" not in [*kinds, *facts["not_worked_out"]]:
        yield Text(f"  More days alone do not help, in the {FARTHEST} that can be foreseen.")
    if facts["not_worked_out"]:
        listed = ", ".join(dict.fromkeys(facts["not_worked_out"]))
        yield Text(f"  Not worked out, as there are too many plans to go through: {listed}.")


def _way(facts: Facts, way: Facts) -> str:
    count = words.plural(len(way["sessions"]), "session")
    if way["kind"] == "more days":
        perhaps = "" if way["proven"] else " (perhaps fewer)"
        return f"{count} in {way['days']} days{perhaps} instead of {facts['days']}"
    within = f"{count} in {words.plural(max(way['days'], facts['days']), 'day')}"
    if way["kind"] == "another day":
        moved = " and ".join(f"{m['type']} not on {m['date']}" for m in way["instead_of"])
        return f"{within}, with {moved}"
    if way["kind"] == "no rest day":
        return f"{within}, with sessions allowed on {way['on']}"
    return f"{within}, {_left_out(facts['wanted'], way['left_out'])}"


def _left_out(wanted: dict[str, int], left_out: dict[str, int]) -> str:
    (label, count), *more = left_out.items()
    if more:
        parts = [f"{t} ({count} of {wanted[t]})" for t, count in left_out.items()]
        return f"leaving out {', '.join(parts)}"
    if count == wanted[label]:
        return f"without {label}"
    if count == 1 and wanted[label] <= len(_ORDINALS):
        return f"without the {_ORDINALS[wanted[label] - 1]} {label}"
    return f"with {wanted[label] - count} {label} instead of {wanted[label]}"


def _plan_body(answer: xr.Dataset) -> Facts:
    facts = answer.attrs
    return {
        **{key: facts[key] for key in ("fits", "start", "days", "wanted", "chances", "rest")},
        "open_days": facts["open_days"],
        "sessions": facts["sessions"],
        "calendar": [_day(answer.sel({PLAN_DAY: day})) for day in answer[PLAN_DAY].values],
        "alternatives": facts["alternatives"],
        "closest": facts["closest"],
        "fixed_short": facts["fixed_short"],
        "not_worked_out": facts["not_worked_out"],
        "rule": facts["rule"],
    }


def _day(row: xr.Dataset) -> Facts:
    return {
        "date": str(row[PLAN_DAY].values)[:10],
        "session": str(row["session"].item()) or None,
        "kind": str(row["kind"].item()),
        "chance_recovered": float(row["chance_recovered"]),
        "chance_asked": json_number(row["chance_asked"]),
        "dip_left_ln": json_interval(row["dip_left_ln"]),
    }


def _check_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    facts = answer.attrs
    yield heading_of(answer, f"Planned against done, up to {facts['last_night']}")
    status = [str(s) for s in answer["status"].values]
    counts = [f"{status.count(s)} {s}" for s in (ON_THE_DAY, MOVED, MISSED, TO_COME)]
    planned = words.plural(len(status), "planned session")
    yield Text(f"  {planned}: {', '.join(counts)}.")
    yield Text(
        f"  Beside the plans, on their days: {words.plural(int(answer['done_beside']), 'session')}."
    )
    yield Text(f"  {begun(answer)}")
    yield Text(f"  {promise_kept(answer)}")
    table = _table("planned", "day", "session", "was done")
    for heading in ("promised", "was back"):
        table.add_column(heading, justify="right", no_wrap=True)
    for i in range(len(status)):
        row = answer.isel({PLANNED_SESSION: i})
        back = json_number(row["chance_back"])
        table.add_row(
            str(row["date"].item()),
            _weekday(str(row["date"].item())),
            Text(str(row["type"].item())),
            str(row["done_on"].item()) if status[i] == MOVED else status[i],
            words.chance(float(row["promised"])),
            "" if back is None else words.chance(back),
        )
    yield table
    yield Text(
        "Was back: the chance, as the whole season now shows it, that all dips together lay under "
        f"the threshold on the morning it was done. {_upper(facts['moved_rule'])}. "
        f"{_upper(facts['judged_rule'])}; {facts['share_rule']}. Verdict: "
        f"{facts['verdict_rule']}. Ranges hold {words.out_of_ten(facts['level'])}."
    )


def begun(answer: xr.Dataset) -> str:
    """Say how many of the sessions done began recovered."""
    done = int(answer["done"])
    if not done:
        return "Of none of them can it be said yet whether it began recovered."
    low, middle, high = (round(v) for v in words.triple(answer["done_back"]))
    return f"Of {done} done, {middle} began recovered (likely {low} to {high})."


def promise_kept(answer: xr.Dataset) -> str:
    """Say whether the promised chances held, where they can be judged."""
    judged = int(answer["judged"])
    if not judged:
        return "No promise can be judged yet: none done on its day, all as planned until then."
    promised = 100 * float(answer["promised_mean"])
    low, _, high = (100 * v for v in words.triple(answer["share_back"]))
    fewest, middle, most = (round(v) for v in words.triple(answer["back_count"]))
    least, _, top = (round(v) for v in words.triple(answer["promised_count"]))
    return (
        f"Of {judged} done on the day, all as planned until then, {middle} began recovered "
        f"(likely {fewest} to {most}; the promises let {least} to {top} expect). Promised: "
        f"{promised:.0f} %; found: likely {low:.0f} to {high:.0f} %, {answer.attrs['verdict']}."
    )


def _check_body(answer: xr.Dataset) -> Facts:
    facts = answer.attrs
    rows = [answer.isel({PLANNED_SESSION: i}) for i in range(answer.sizes[PLANNED_SESSION])]
    return {
        "plans": facts["plans"],
        "replaced": facts["replaced"],
        "planned": [
            {
                "date": str(row["date"].item()),
                "type": str(row["type"].item()),
                "promised": float(row["promised"]),
                "status": str(row["status"].item()),
                "done_on": str(row["done_on"].item()) or None,
                "followed": bool(row["followed"]),
                "chance_back": json_number(row["chance_back"]),
            }
            for row in rows
        ],
        "done": int(answer["done"]),
        "done_back": json_interval(answer["done_back"]),
        "judged": int(answer["judged"]),
        "promised_mean": json_number(answer["promised_mean"]),
        "promised_count": json_interval(answer["promised_count"]),
        "back_count": json_interval(answer["back_count"]),
        "share_back": json_interval(answer["share_back"]),
        "done_beside": int(answer["done_beside"]),
        **{key: facts[key] for key in ("verdict", "verdict_rule", "judged_rule", "moved_rule")},
    }


def _upper(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold", min_width=min(8, len(heading)))
    return table


TEXT: Final[dict[str, Callable[[xr.Dataset], Iterable[RenderableType]]]] = {
    "spacing": _plan_text,
    "spacing check": _check_text,
}
BODY: Final[dict[str, Callable[[xr.Dataset], Facts]]] = {
    "spacing": _plan_body,
    "spacing check": _check_body,
}
