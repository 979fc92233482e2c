"""An answer as terminal text: a sentence first, then the table it stands on."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

import xarray as xr
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.answers.sayings import CAUTION
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal import (
    course,
    elements,
    explain,
    history,
    repeats,
    spacing,
    trial,
    trial_results,
    washout,
    worth,
)
from slackwater.fitting.report.terminal.drawing import Scale, Strip, ruler
from slackwater.fitting.report.terminal.pieces import heading_of, new_facts, new_table, next_text
from slackwater.model import names as n

_BAR: Final = 25  # columns of a range bar


def show(
    console: Console, answer: xr.Dataset, *, caution: bool = True, aside: Console | None = None
) -> None:
    """Print an answer, its warnings, the caution unless it follows elsewhere, and the next step.

    Args:
        console: where the answer goes.
        answer: the answer.
        caution: whether to print the caution.
        aside: where the warnings go; with the answer if left out.
    """
    console.print(as_text(answer))
    for warning in answer.attrs["warnings"]:
        (aside or console).print(Text(f"Mind: {warning}"))
    if caution:
        console.print(Padding(Text(CAUTION, style="dim"), (1, 0, 0, 0)))
    if "next" in answer.attrs:
        console.print(next_text(answer.attrs["next"]))


def as_text(answer: xr.Dataset) -> RenderableType:
    """Return an answer as something rich can print."""
    return Group(*_BODIES[answer.attrs["question"]](answer))


def _recovery(answer: xr.Dataset) -> Iterable[RenderableType]:
    level = answer.attrs["level"]
    yield heading_of(answer, "Days to recover, counted from the session's date")
    for name in answer[n.TYPE].values:
        days = answer["typical_days"].sel({n.TYPE: name})
        yield Text(f"  {name}: {words.whole_days(days)}")
    table = new_table("session type", "done", "dip", "typical days", "next session", "4 in 5 by")
    for name in answer[n.TYPE].values:
        row = answer.sel({n.TYPE: name})
        table.add_row(
            Text(str(name)),
            str(int(row["sessions"])),
            words.tight_dip(row["dip_ln"]),
            words.tight(row["typical_days"]),
            words.tight(row["next_session_days"]),
            _by_day(row["days_for_chance"].sel(chance=0.8)),
        )
    yield table
    yield _chances_by_day(answer)
    yield Text(
        "Dip: how far the first reading lies under baseline. "
        f"Recovered means the dip is under {float(answer['threshold_percent']):.0f} % "
        f"({answer.attrs['threshold_rule']}). Typical days: a usual session of the type; next "
        f"session: any one more of it, as they differ; its chance to be recovered by each day is "
        f"drawn, the taller the likelier. {_likely(level)}"
    )


def _chances_by_day(answer: xr.Dataset) -> RenderableType:
    days = answer.sizes["day"]
    table = new_table("recovered by day", ruler(days), "half by", "9 in 10 by")
    table.columns[1].justify = "left"
    for name in answer[n.TYPE].values:
        row = answer.sel({n.TYPE: name})
        half, nine_in_ten = (row["days_for_chance"].sel(chance=c) for c in (0.5, 0.9))
        strip = Strip([float(share) for share in row["chance_by_day"]])
        table.add_row(Text(str(name)), strip, _by_day(half), _by_day(nine_in_ten))
    return table


def _by_day(days: xr.DataArray) -> str:
    value = float(days)
    return f"day {value:.0f}" if value == value else "after day 30"


def _baseline(answer: xr.Dataset) -> Iterable[RenderableType]:
    yield heading_of(answer, f"Where you stand on the morning of {answer.attrs['last_night']}")
    share = float(answer["chance_at_baseline"])
    yield Text(f"  At baseline: the chance is {words.chance(share)}.")
    table = new_facts()
    table.add_row("baseline", words.milliseconds(answer["baseline_rmssd_ms"]))
    table.add_row("dip left", words.percent_dip(answer["dip_left_ln"]))
    table.add_row("further rest days", words.days_range(answer["further_rest_days"]))
    flat = words.plural(int(answer["flat_nights"]), "flat night")
    reached = "reached" if bool(answer["plateau_reached"]) else "not reached"
    table.add_row("plateau of rest", f"{reached} ({flat} so far)")
    table.add_row("ordinary night-to-night SD", words.percent_dip(answer["night_to_night_sd_ln"]))
    yield table
    yield Text(f"Plateau: {answer.attrs['plateau_rule']}. {_likely(answer.attrs['level'])}")


def _forecast(answer: xr.Dataset) -> Iterable[RenderableType]:
    sessions = answer.attrs["sessions"]
    plan = "with " + ", ".join(sessions) if sessions else "at rest"
    yield heading_of(answer, f"The coming readings, {plan}")
    back = words.days_range(answer["days_to_baseline"])
    yield Text(f"  Back at baseline in {back} days from {answer.attrs['last_night']}.")
    scale = Scale.over((answer["rmssd_ms"].sel({n.NIGHT: x}) for x in answer[n.NIGHT]), _BAR)
    table = new_table("morning", "reading", "chance of baseline", scale.ends("ms"))
    for night in answer[n.NIGHT]:
        row = answer.sel({n.NIGHT: night})
        table.add_row(
            str(night.values)[:10],
            words.milliseconds(row["rmssd_ms"]),
            words.chance(float(row["chance_at_baseline"])),
            scale.bar(row["rmssd_ms"]),
        )
    yield table
    yield Text(
        "Chance of baseline: that the dip left lies under the threshold that morning. "
        f"{_likely(answer.attrs['level'])}"
    )


def _compare_intervention(answer: xr.Dataset) -> Iterable[RenderableType]:
    name = answer.attrs["intervention"]
    yield heading_of(answer, f"Recovery with and without {name}")
    verdict = answer.attrs["verdict"]
    sentence = f"{verdict} with it" if verdict in ("faster", "slower") else verdict
    share = words.chance(float(answer["chance_faster"]))
    yield Text(f"  {sentence} (the chance that it is faster is {share}).")
    table = new_facts()
    table.add_row("recovery rate, with over without", words.ratio(answer["rate_ratio"]))
    for side in ("with", "without"):
        nights = words.plural(int(answer[f"nights_{side}"]), "night")
        sessions = words.plural(int(answer[f"sessions_{side}"]), "session")
        table.add_row(side, f"{nights}, {sessions}")
    yield table
    saved = new_table("session type", "days saved")
    for label in answer[n.TYPE].values:
        row = answer["days_saved"].sel({n.TYPE: label})
        saved.add_row(Text(str(label)), words.days_range(row))
    yield saved
    rule = answer.attrs["verdict_rule"]
    yield Text(f"Verdict: {rule}. {_likely(answer.attrs['level'])}")


def _difference(answer: xr.Dataset) -> Iterable[RenderableType]:
    a, b = answer.attrs["a"], answer.attrs["b"]
    attribute = answer.attrs.get("attribute")
    what = f"{attribute}: {a} against {b}" if attribute else f"{a} against {b}"
    yield heading_of(answer, what)
    low, median, high = words.triple(answer["difference_days"])
    longer = a if median >= 0 else b
    yield Text(
        f"  {longer} takes {abs(median):.1f} days longer; the difference {a} minus {b} likely "
        f"lies between {low:.1f} and {high:.1f} days."
    )
    share = words.chance(float(answer["chance_a_slower"]))
    yield Text(f"  The chance that {a} takes longer is {share}.")
    yield Text(_likely(answer.attrs["level"]))


def _likely(level: float) -> str:
    return f"Ranges hold {words.out_of_ten(level)}."


_BODIES: Final[dict[str, Callable[[xr.Dataset], Iterable[RenderableType]]]] = {
    "recovery": _recovery,
    "baseline": _baseline,
    "forecast": _forecast,
    "compare intervention": _compare_intervention,
    "compare types": _difference,
    "compare attribute": _difference,
    "washout": washout.text,
    "history": history.text,
    "repeats": repeats.text,
    "elements": elements.text,
    "explain": explain.text,
    "course": course.text,
    "worth": worth.text,
    **spacing.TEXT,
    **trial.TEXT,
    **trial_results.TEXT,
}
