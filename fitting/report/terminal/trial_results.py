"""What trials found, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.measures.verdicts import UNDECIDED
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import (
    Terms,
    days_saved,
    heading_of,
    new_facts,
    new_table,
)
from slackwater.fitting.report.terminal.trial import days
from slackwater.fitting.text import plural
from slackwater.fitting.trials.analyse import NOT_DUE, TrialFound
from slackwater.fitting.trials.items import TrialItems
from slackwater.fitting.trials.ledger import LedgerRow, TrialLedger
from slackwater.fitting.trials.randomisation import WithoutModel


def analysed(answer: TrialFound) -> Iterable[RenderableType]:
    """Yield an analysis for the terminal."""
    yield heading_of(answer, f"The trial of {answer.measure}, up to {answer.last_judged}")
    yield Text(f"  Verdict: {words.verdict(answer.verdict)}{_by_itself(answer)}.")
    if answer.verdict == UNDECIDED:
        yield Text(f"  Cannot tell: recovery is {words.rate_change(answer.rate_ratio)} with it.")
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
        (
            "a reading by itself, on its nights",
            words.signed_range(answer.lift_percent, 0, " %"),
        ),
        ("sessions that tell of it", f"{arms} (plan: {answer.sessions_per_arm})"),
        *(
            [("recovered days read", f"{days_read['with']} with, {days_read['without']} without")]
            if (days_read := answer.recovered_days)
            else []
        ),
        ("days as assigned", f"{followed[0]} with, {followed[1]} without"),
        ("days to the next session", _gaps(answer)),
        ("without the model", _without_model(answer.randomisation_test)),
        ("interim looks", str(answer.looks)),
    ):
        table.add_row(what, told)
    yield table
    if answer.verdict not in (UNDECIDED, NOT_DUE):
        yield days_saved(answer.days_saved)
    yield Terms(
        f"{words.sentence(sentence(answer.verdict_basis))} It is about the measure as assigned. "
        "Without the model: how far readings climb from the 1st morning after a session to the "
        "2nd to 4th, with against without within pairs, and p, the share of the possible lots "
        f"with a difference as large. Ranges hold {words.out_of_ten(answer.about.level)}."
    )


def _by_itself(answer: TrialFound) -> str:
    """Say what the trial's own rule says, where all that was tried together says otherwise."""
    if answer.verdict_alone == answer.verdict:
        return ""
    return f", among all that was tried (by itself: {words.verdict(answer.verdict_alone)})"


def _gaps(answer: TrialFound) -> str:
    means = (answer.gap_days_with, answer.gap_days_without)
    shown = [f"{mean:.1f}" if math.isfinite(mean) else "none" for mean in means]
    p_value = answer.gap_p_value
    tested = f", {_p(p_value)}" if math.isfinite(p_value) else ""
    return f"{shown[0]} with, {shown[1]} without{tested}"


def _p(value: float) -> str:
    return "p < 0.001" if value < 0.0005 else f"p = {value:.3f}"


def _without_model(test: WithoutModel) -> str:
    pairs = plural(test.pairs, "pair")
    if not math.isfinite(test.p_value):
        return f"{pairs}: too few"
    error = test.difference_se_ln
    se = f" (SE {100 * error:.1f})" if math.isfinite(error) else ""
    percent = words.signed(100 * math.expm1(test.difference_ln), 1)
    return f"{percent} %{se}, {_p(test.p_value)}, {pairs}"


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
    yield Terms(
        f"Recovery rate with over without. {sentence(answer.shrinking).capitalize()}. Faster: the "
        "chance of it, judged together, which is no verdict outside a trial. Ranges hold "
        f"{words.out_of_ten(answer.about.level)}."
    )


def found(answer: TrialLedger) -> str:
    """Say which measures have the verdict faster."""
    judged = sum(row.verdict is not None for row in answer.rows)
    together = ", all that was ever tried judged together" if judged > 1 else ""
    if answer.faster:
        return f"Faster, by trial{together}: {', '.join(answer.faster)}."
    if judged:
        return f"No trial so far ended with the verdict 'faster'{together}."
    return "No verdict yet: none of it was judged by a trial."


def story(row: LedgerRow) -> str:
    """Say how a measure was tested, after its name."""
    if row.trial is None:
        return f"in the log since {row.start}, without a trial."
    told = f"{row.sessions_with} with, {row.sessions_without} without"
    looks = f", {plural(row.looks, 'interim look')}" if row.looks else ""
    because = f", stopped: {row.because}" if row.because else ""
    planned = f"{row.sessions_per_arm} of each planned"
    verdict = f", verdict: {row.verdict}" if row.verdict else ""
    if row.verdict != row.verdict_alone:
        verdict += f" (by itself: {row.verdict_alone})"
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
