"""What a fit is worth, and whether it describes the season, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.answers.worth import Worth
from slackwater.fitting.describing.held import AfterSession, OnWeekday
from slackwater.fitting.describing.residuals import Residuals
from slackwater.fitting.report import residual_words, words
from slackwater.fitting.report.described import verdict
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of, likely, new_table


def text(answer: Worth) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"What the fit up to {answer.about.last_night} is worth")
    for said in sentences(answer.sentences):
        yield Text(f"  {said}")
    rule, recent = sentence(answer.rule), sentence(answer.recent_rule)
    yield Terms(f"How readings are foretold: {rule}. Last nights: {recent}.")


def residuals(answer: Residuals) -> Iterable[RenderableType]:
    """Yield whether the model describes the season for the terminal."""
    yield heading_of(answer, f"Does the model describe the season up to {answer.about.last_night}?")
    for said in verdict(answer.found):
        yield Text(f"  {said}")
    yield _means("morning", [(on.weekday, on) for on in answer.by_weekday])
    if answer.by_nights_since_session:
        yield _after(answer.by_nights_since_session)
    if answer.by_type:
        yield Details(_after(answer.by_type))
    table = new_table("besides", "found", "by chance")
    for what, value, by_chance in residual_words.others(answer):
        table.add_row(what, value, by_chance)
    yield Details(table)
    yield Terms(
        f"{words.sentence(sentence(answer.rule))} By chance: of 20 seasons that the model "
        f"describes, 1 has anything outside. {likely(answer.about.level)}"
    )


def _after(rows: Sequence[AfterSession]) -> Table:
    return _means("after a session", [(residual_words.after(at), at) for at in rows])


def _means(first: str, rows: Sequence[tuple[str, AfterSession | OnWeekday]]) -> Table:
    table = new_table(first, "read", "residual, %", "by chance")
    for name, found in rows:
        table.add_row(Text(name), str(found.readings), *residual_words.percent(found))
    return table
