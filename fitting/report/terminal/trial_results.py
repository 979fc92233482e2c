"""What trials found, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import days_saved, heading_of, new_facts, new_table
from slackwater.fitting.report.terminal.trial import days
from slackwater.fitting.text import plural
from slackwater.fitting.trials.analyse import TrialFound
from slackwater.fitting.trials.items import TrialItems
from slackwater.fitting.trials.ledger import LedgerRow, TrialLedger
from slackwater.fitting.trials.randomisation import WithoutModel


def analysed(answer: TrialFound) -> Iterable[RenderableType]:
    """Yield an analysis for the terminal."""
    yield heading_of(answer, f"The trial of {answer.measure}, up to {answer.last_judged}")
    yield Text(f"  Verdict: {answer.verdict}.")
    yield Text(
        f"  The chance that it saves at least {days(answer.smallest_days)} of a typical session is "
        f"{words.chance(answer.chance_worth_having)}; that it is faster at all, "
        f"{words.chance(answer.chance_faster)}."
    )
    used = answer.rate_ratio_as_used
    arms = f"{answer.sessions_with} with, {answer.sessions_without} without"
    followed = _share(answer.used_when_assigned), _share(answer.unused_when_not)
    table = new_facts()
    for what, told in (
        ("recovery rate, with over without", words.ratio(answer.rate_ratio)),
        (
            "the same, as used",
            words.ratio(used) if math.isfinite(used.median) else "the log cannot tell",
        ),
        ("days saved, typical session", words.days_range(answer.typical_days_saved)),
        ("sessions that tell of it", f"{arms} (plan: {answer.sessions_per_arm})"),
        ("days as assigned", f"{followed[0]} with, {followed[1]} without"),
        ("without the model", _without_model(answer.randomisation_test)),
        ("interim looks", str(answer.looks)),
    ):
        table.add_row(what, told)
    yield table
    yield days_saved(answer.days_saved)
    yield Text(
        f"Verdict: {answer.verdict_rule}. It is about the measure as assigned. Without the "
        "model: readings on the 2nd to 4th morning after a session, with against without within "
        "pairs, and p, the share of the possible lots with a difference as large. Ranges hold "
        f"{words.out_of_ten(answer.about.level)}."
    )


def _without_model(test: WithoutModel) -> str:
    pairs = plural(test.pairs, "pair")
    if not math.isfinite(test.p_value):
        return f"{pairs}: too few"
    error = test.difference_se_ln
    se = f" (SE {100 * error:.1f})" if math.isfinite(error) else ""
    shown = "p < 0.001" if test.p_value < 0.0005 else f"p = {test.p_value:.3f}"
    return f"{words.signed(100 * math.expm1(test.difference_ln), 1)} %{se}, {shown}, {pairs}"


def items(answer: TrialItems) -> Iterable[RenderableType]:
    """Yield a report's items for the terminal."""
    yield heading_of(answer, f"What a report of the trial of {answer.measure} should say")
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("item", no_wrap=True)
    for column in ("what", "by the record"):
        table.add_column(column, overflow="fold")
    for row in answer.items:
        table.add_row(row.item, Text(sentence(row.what)), Text(sentence(row.record)))
    yield table
    yield Text(f"Items {sentence(answer.source)}.")


def ledger(answer: TrialLedger) -> Iterable[RenderableType]:
    """Yield the ledger for the terminal."""
    yield heading_of(answer, "Everything that was ever tested")
    yield Text(f"  {found(answer)}")
    table = new_table("measure", "status", "alone", "together", "faster")
    for row in answer.rows:
        table.add_row(
            Text(row.measure),
            row.status,
            "needs a fit" if row.needs_fit else ratio(row.rate_ratio_alone),
            "" if row.needs_fit else ratio(row.rate_ratio_together),
            chance(row.chance_faster_together),
        )
    yield table
    for row in answer.rows:
        yield Text(f"  {row.measure}: {story(row)}")
    yield Text(
        f"Recovery rate with over without. {sentence(answer.shrinking).capitalize()}. Faster: the "
        "chance of it, judged together. Ranges hold "
        f"{words.out_of_ten(answer.about.level)}."
    )


def found(answer: TrialLedger) -> str:
    """Say which measures are clearly faster, all judged together."""
    if answer.faster:
        return f"Faster, among all that was tried: {', '.join(answer.faster)}."
    return "Nothing that was tried is clearly faster, all judged together."


def story(row: LedgerRow) -> str:
    """Say how a measure was tested, after its name."""
    if row.trial is None:
        return f"in the log since {row.start}, without a trial."
    told = f"{row.sessions_with} with, {row.sessions_without} without"
    looks = f", {plural(row.looks, 'interim look')}" if row.looks else ""
    because = f", stopped: {row.because}" if row.because else ""
    planned = f"{row.sessions_per_arm} of each planned"
    verdict = f", verdict: {row.verdict}" if row.verdict else ""
    return f"trial {row.trial} from {row.start}, {told} ({planned}){verdict}{looks}{because}."


def _share(share: float) -> str:
    return f"{100 * share:.0f} %" if math.isfinite(share) else "none"


def ratio(values: words.Bounds) -> str:
    """Return a rate ratio for a narrow column: "1.36 (1.15–1.62)"."""
    low, median, high = words.triple(values)
    return f"{median:.2f} ({low:.2f}–{high:.2f})" if math.isfinite(median) else "not yet"


def chance(value: float) -> str:
    """Return a chance in percent; nothing where it is not known."""
    return words.chance(value) if math.isfinite(value) else ""
