"""What a whole file is understood to be, and what it then does to a season."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.fitting.importing.book import Book
from slackwater.fitting.importing.cells import Sheet
from slackwater.fitting.importing.choices import LEAVE, Answer, Choices, Question
from slackwater.fitting.importing.columns import LABELS
from slackwater.fitting.importing.entries import Entries, Entry, entries
from slackwater.fitting.importing.layout import part
from slackwater.fitting.importing.memory import Shape
from slackwater.fitting.importing.merge import once
from slackwater.fitting.importing.numbers import DECIMALS, amount, missing
from slackwater.fitting.importing.plan import Plan, plan_sheet
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.model.errors import QuestionError, nearest


@dataclass(frozen=True)
class Proposal:
    """What a file is understood to be.

    Attributes:
        book: its sheets.
        plans: how each that is read is understood.
        aside: names of the sheets that hold nothing of a season.
        questions: what must be chosen first.
        remembered: whether all sheets have a shape that was read before.
        made: what each sheet gives; empty while questions are open.
        rows: the season's rows, one reading a night; empty while questions are open.
    """

    book: Book
    plans: Sequence[Plan]
    aside: Sequence[str]
    questions: Sequence[Question]
    remembered: bool
    made: Sequence[Entries] = field(default_factory=list)
    rows: Sequence[Entry] = field(default_factory=list)

    @property
    def problems(self) -> list[Problem]:
        """The cells that cannot be read."""
        return [problem for each in self.made for problem in each.problems]


def propose(
    book: Book, choices: Choices, known: Mapping[str, Iterable[str]], kept: Sequence[Shape]
) -> Proposal:
    """Return what a file is understood to be.

    Args:
        book: its sheets.
        choices: what was chosen.
        known: field -> the season's labels of it.
        kept: the shapes that were read before.

    Raises:
        QuestionError: a chosen sheet or header is not there.
        SeasonFilesError: nothing of a season is in it.
    """
    questions: list[Question] = []
    if len(book.encodings) > 1 and not choices.encoding:
        answers = [Answer(n, w) for n, w in zip(book.encodings, book.shown, strict=False)]
        questions.append(Question("encoding", "", book.shown[0], answers))
    plans: list[Plan] = []
    aside: list[str] = []
    remembered = True
    for sheet in _chosen(book, choices):
        headers = tuple(header.text for header in part(sheet).headers)
        shape = next((each for each in kept if each.headers == headers), None)
        plan = plan_sheet(sheet, choices.over(shape.choices) if shape else choices, known)
        if plan.understood and (plan.date or _asks_for_dates(plan)):
            plans.append(plan)
            remembered = remembered and shape is not None
        elif len(book.sheets) > 1:
            aside.append(sheet.name)
        else:
            asked = [*plan.questions] if plan.date or _asks_for_dates(plan) else []
            questions += asked or [_what_is_it(book, plan)]
    questions += [question for plan in plans for question in plan.questions]
    if not plans and not questions:
        what, mend = "no sheet of it holds dates and readings or sessions", "choose another file"
        raise SeasonFilesError([Problem(book.file, 1, 1, what, mend)])
    if questions:
        return Proposal(book, plans, aside, _each_once(questions), False)
    made = [entries(plan, book.file) for plan in plans]
    rows, twice = once([row for each in made for row in each.rows], choices.twice)
    asked = [twice] if twice else []
    return Proposal(book, plans, aside, asked, remembered and bool(plans), made, rows)


def _chosen(book: Book, choices: Choices) -> list[Sheet]:
    names = [sheet.name for sheet in book.sheets]
    for wanted in choices.sheets:
        if wanted not in names:
            like = nearest(wanted, names)
            hint = f" Did you mean {like!r}?" if like else ""
            shown = ", ".join(map(repr, names))
            raise QuestionError(f"There is no sheet {wanted!r}. The file has {shown}.{hint}")
    return [sheet for sheet in book.sheets if not choices.sheets or sheet.name in choices.sheets]


def _asks_for_dates(plan: Plan) -> bool:
    return any(asked.about == "column" and asked.of == "date" for asked in plan.questions)


def _what_is_it(book: Book, plan: Plan) -> Question:
    """Ask for the column of readings, or of sessions, where no header tells."""
    date = plan.date
    rest = [use for use in plan.uses if not use.field and use.header.text]
    held = {use: [c for c in plan.layout.column(use.column) if not missing(c)] for use in rest}
    numbers = [
        use for use in rest
        if held[use] and any(all(amount(c, mark) for c in held[use]) for mark in DECIMALS)
    ]  # fmt: skip
    texts = [use for use in rest if held[use] and use not in numbers]
    of, among = ("rmssd", numbers) if numbers else ("type", texts)
    if date is None or not among:
        what = "no column of dates with readings, sessions, measures or stressors is found"
        found = ", ".join(repr(header.text) for header in plan.layout.headers[:20])
        mend = f"say which holds what (found {found})"
        raise SeasonFilesError([Problem(book.file, plan.layout.line or 1, 1, what, mend)])
    answers = [*(Answer(use.header.text) for use in among), Answer(LEAVE)]
    return Question("column", of, "", answers, plan.layout.sheet)


def _each_once(questions: Sequence[Question]) -> list[Question]:
    """Return the questions, of those that one answer settles only the first."""
    found: dict[tuple[str, str], Question] = {}
    for question in questions:
        of = question.of if question.about == "column" else ""
        found.setdefault((question.about, of), question)
    return [*found.values()]


def labels_used(rows: Iterable[Entry]) -> dict[str, list[str]]:
    """Return the labels of rows by field, each once, in their order."""
    used: dict[str, dict[str, None]] = {name: {} for name in LABELS}
    for row in rows:
        for name in LABELS:
            if name in row.cells:
                used[name][str(row.cells[name])] = None
    return {name: [*labels] for name, labels in used.items()}
