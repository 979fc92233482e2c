"""What trials found, as terminal text and as JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Final

import xarray as xr
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import (
    Json,
    heading_of,
    json_interval,
    json_number,
    new_facts,
    new_table,
)
from slackwater.fitting.report.terminal.trial import days, listed
from slackwater.fitting.trials.ledger import ROW
from slackwater.model import names as n


def analyse_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield an analysis for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, f"The trial of {facts['measure']}, up to {facts['last_judged']}")
    yield Text(f"  Verdict: {facts['verdict']}.")
    worth = words.chance(float(answer["chance_worth_having"]))
    yield Text(
        f"  The chance that it saves at least {days(facts['smallest'])} of a typical session is "
        f"{worth}; that it is faster at all, {words.chance(float(answer['chance_faster']))}."
    )
    table = new_facts()
    table.add_row("recovery rate, with over without", words.ratio(answer["rate_ratio"]))
    used = answer["rate_ratio_as_used"]
    shown = words.ratio(used) if math.isfinite(float(used[0])) else "the log cannot tell"
    table.add_row("the same, as used", shown)
    saved = words.days_range(answer["typical_days_saved"])
    table.add_row("days saved, typical session", saved)
    counts = f"{int(answer['sessions_with'])} with, {int(answer['sessions_without'])} without"
    table.add_row("sessions that tell of it", f"{counts} (plan: {facts['sessions_per_arm']})")
    followed = _share(answer["used_when_assigned"]), _share(answer["unused_when_not"])
    table.add_row("days as assigned", f"{followed[0]} with, {followed[1]} without")
    table.add_row("without the model", _without_model(answer))
    table.add_row("interim looks", str(facts["looks"]))
    yield table
    saved_by = new_table("session type", "days saved")
    for label in answer[n.TYPE].values:
        saved_by.add_row(
            Text(str(label)), words.days_range(answer["days_saved"].sel({n.TYPE: label}))
        )
    yield saved_by
    yield Text(
        f"Verdict: {facts['verdict_rule']}. It is about the measure as assigned. Without the "
        "model: readings on the 2nd to 4th morning after a session, with against without within "
        "pairs, and p, the share of the possible lots with a difference as large. Ranges hold "
        f"{words.out_of_ten(facts['level'])}."
    )


def _without_model(answer: xr.Dataset) -> str:
    pairs = words.plural(int(answer["pairs"]), "pair")
    if not math.isfinite(float(answer["p_value"])):
        return f"{pairs}: too few"
    percent = 100 * math.expm1(float(answer["difference_ln"]))
    error = 100 * float(answer["difference_se_ln"])
    se = f" (SE {error:.1f})" if math.isfinite(error) else ""
    p_value = float(answer["p_value"])
    shown = "p < 0.001" if p_value < 0.0005 else f"p = {p_value:.3f}"
    return f"{percent:+.1f} %{se}, {shown}, {pairs}"


def analyse_body(answer: xr.Dataset) -> Json:
    """Return what is an analysis' own of its JSON object."""
    facts = answer.attrs
    kept = (
        "measure", "trial", "sessions_per_arm", "complete", "last_judged", "verdict",
        "verdict_rule", "looks",
    )  # fmt: skip
    numbers = (
        "chance_faster", "chance_worth_having", "log_rate_ratio_mean", "log_rate_ratio_sd",
        "used_when_assigned", "unused_when_not",
    )  # fmt: skip
    saved = answer["days_saved"]
    test = ("difference_ln", "difference_se_ln", "possible_orders", "p_value")
    return {
        **{key: facts[key] for key in kept},
        "smallest_days": facts["smallest"],
        "sessions_with": int(answer["sessions_with"]),
        "sessions_without": int(answer["sessions_without"]),
        "rate_ratio": json_interval(answer["rate_ratio"]),
        "rate_ratio_as_used": json_interval(answer["rate_ratio_as_used"]),
        "typical_days_saved": json_interval(answer["typical_days_saved"]),
        "days_saved": [
            {"type": str(t), **json_interval(saved.sel({n.TYPE: t}))} for t in saved[n.TYPE].values
        ],
        **{key: json_number(answer[key]) for key in numbers},
        "randomisation_test": {
            "pairs": int(answer["pairs"]),
            **{key: json_number(answer[key]) for key in test},
        },
    }


def items_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield a report's items for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, f"What a report of the trial of {facts['measure']} should say")
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("item", no_wrap=True)
    for column in ("what", "by the record"):
        table.add_column(column, overflow="fold")
    for row in facts["items"]:
        table.add_row(row["item"], Text(row["what"]), Text(row["record"]))
    yield table
    yield Text(f"Items {facts['source']}.")


def items_body(answer: xr.Dataset) -> Json:
    """Return what is its own of the JSON object with a report's items."""
    return {key: answer.attrs[key] for key in ("measure", "source", "items")}


def ledger_text(answer: xr.Dataset) -> Iterable[RenderableType]:
    """Yield the ledger for the terminal."""
    facts = answer.attrs
    yield heading_of(answer, "Everything that was ever tested")
    yield Text(f"  {found(answer)}")
    table = new_table("measure", "status", "alone", "together", "faster")
    for row, numbers in _rows(answer):
        table.add_row(
            Text(row["measure"]),
            row["status"],
            "needs a fit" if row["needs_fit"] else ratio(numbers["alone"]),
            "" if row["needs_fit"] else ratio(numbers["together"]),
            chance(numbers["chance_faster_together"]),
        )
    yield table
    for row, _ in _rows(answer):
        yield Text(f"  {row['measure']}: {story(row)}")
    yield Text(
        f"Recovery rate with over without. {facts['shrinking'].capitalize()}. Faster: the chance "
        f"of it, judged together. Ranges hold {words.out_of_ten(facts['level'])}."
    )


def found(answer: xr.Dataset) -> str:
    """Say which measures are clearly faster, all judged together."""
    faster = answer.attrs["faster"]
    if faster:
        return f"Faster, among all that was tried: {listed(faster)}."
    return "Nothing that was tried is clearly faster, all judged together."


def story(row: Json) -> str:
    """Say how a measure was tested, after its name."""
    if row["trial"] is None:
        return f"in the log since {row['start']}, without a trial."
    told = f"{row['sessions_with']} with, {row['sessions_without']} without"
    looks = f", {words.plural(row['looks'], 'interim look')}" if row["looks"] else ""
    because = f", stopped: {row['because']}" if row["because"] else ""
    planned = f"{row['sessions_per_arm']} of each planned"
    verdict = f", verdict: {row['verdict']}" if row["verdict"] else ""
    return f"trial {row['trial']} from {row['start']}, {told} ({planned}){verdict}{looks}{because}."


def ledger_body(answer: xr.Dataset) -> Json:
    """Return what is the ledger's own of its JSON object."""
    return {
        "rows": [
            row
            | {
                "rate_ratio_alone": json_interval(numbers["alone"]),
                "rate_ratio_together": json_interval(numbers["together"]),
                "chance_faster_alone": json_number(numbers["chance_faster"]),
                "chance_faster_together": json_number(numbers["chance_faster_together"]),
            }
            for row, numbers in _rows(answer)
        ],
        "shrinking": answer.attrs["shrinking"],
    }


def _rows(answer: xr.Dataset) -> Iterator[tuple[Json, xr.Dataset]]:
    for number, row in enumerate(answer.attrs["rows"]):
        yield row, answer.isel({ROW: number})


def _share(value: xr.DataArray) -> str:
    share = float(value)
    return f"{100 * share:.0f} %" if math.isfinite(share) else "none"


def ratio(values: xr.DataArray) -> str:
    """Return a rate ratio for a narrow column: "1.36 (1.15–1.62)"."""
    low, median, high = words.triple(values)
    return f"{median:.2f} ({low:.2f}–{high:.2f})" if math.isfinite(median) else "not yet"


def chance(value: xr.DataArray) -> str:
    """Return a chance in percent; nothing where it is not known."""
    return words.chance(float(value)) if math.isfinite(float(value)) else ""


TEXT: Final[dict[str, Callable[[xr.Dataset], Iterable[RenderableType]]]] = {
    "trial analyse": analyse_text,
    "trial report items": items_text,
    "trial ledger": ledger_text,
}
BODY: Final[dict[str, Callable[[xr.Dataset], Json]]] = {
    "trial analyse": analyse_body,
    "trial report items": items_body,
    "trial ledger": ledger_body,
}
