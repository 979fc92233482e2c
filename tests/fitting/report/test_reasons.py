"""Every reason has its sentence, every sentence its reason, and both speak of the same facts."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter
from typing import Final, NamedTuple

import pytest

from slackwater.fitting.report import reasons
from slackwater.fitting.report.reasons import SENTENCES, sentence, sentences, told
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.model.errors import NoAnswerError, Reason
from tests.fitting.report.terminal.printing import TECHNICAL

ROOT: Final = Path(__file__).parents[3]
SOURCES: Final = [
    *sorted((ROOT / "model").rglob("*.py")),
    *sorted((ROOT / "fitting").rglob("*.py")),
]


class Made(NamedTuple):
    """One place where a reason is made.

    Attributes:
        where: file and line.
        code: its code; empty where it is not written out.
        facts: the names of its facts; None where they are handed on as a mapping.
    """

    where: str
    code: str
    facts: frozenset[str] | None


def made_in(source: str, where: str) -> Iterator[Made]:
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and ast.unparse(node.func) == "Reason"):
            continue
        code = node.args[0] if node.args else None
        written = isinstance(code, ast.Constant) and isinstance(code.value, str)
        names = [keyword.arg for keyword in node.keywords]
        yield Made(
            f"{where}:{node.lineno}",
            code.value if written else "",  # type: ignore[union-attr]
            None if None in names else frozenset(name for name in names if name),
        )


MADE: Final = [
    made
    for path in SOURCES
    for made in made_in(path.read_text(encoding="utf-8"), str(path.relative_to(ROOT)))
]


def taken_by(said: Sentence) -> tuple[set[str], set[str]]:
    """Return the facts that a sentence must have, and those that it may have."""
    if isinstance(said, str):
        fields = {field for _, field, _, _ in Formatter().parse(said) if field}
        return fields, fields
    parameters = inspect.signature(said).parameters.values()
    must = {p.name for p in parameters if p.default is inspect.Parameter.empty}
    return must, {p.name for p in parameters}


def test_every_reason_is_written_out_where_it_is_made() -> None:
    assert [made.where for made in MADE if not made.code] == []


def test_every_reason_has_its_sentence() -> None:
    assert [f"{m.where} {m.code}" for m in MADE if m.code not in SENTENCES] == []


def test_every_sentence_has_its_reason() -> None:
    assert sorted(set(SENTENCES) - {made.code for made in MADE}) == []


def test_sentences_take_the_facts_that_reasons_give() -> None:
    wrong = []
    for made in MADE:
        if made.facts is None or made.code not in SENTENCES:
            continue
        must, may = taken_by(SENTENCES[made.code])
        if not must <= made.facts <= may:
            wrong.append(f"{made.where} {made.code}: {sorted(made.facts)}, not {sorted(may)}")
    assert not wrong, "\n" + "\n".join(wrong)


def test_each_sentence_stands_in_one_room() -> None:
    rooms = [module.SENTENCES for name, module in inspect.getmembers(reasons, inspect.ismodule)
             if hasattr(module, "SENTENCES")]  # fmt: skip
    assert sum(len(room) for room in rooms) == len(SENTENCES)


@pytest.mark.parametrize("code", [c for c, said in SENTENCES.items() if isinstance(said, str)])
def test_templates_are_whole(code: str) -> None:
    said = SENTENCES[code]
    assert isinstance(said, str)
    assert all(field != "" for _, field, _, _ in Formatter().parse(said))
    assert "--" not in said
    assert "slackwater " not in said.replace("that slackwater", "")  # what to type stands elsewhere


def test_no_sentence_needs_the_statistician() -> None:
    """But for those of what a fit is worth, which are asked for."""
    asked_for = {"no divergences", "chains agree"}
    texts = [s for code, s in SENTENCES.items() if code not in asked_for and isinstance(s, str)]
    assert [s for s in texts if TECHNICAL.search(re.sub(r"{.*?}", "", s))] == []


def test_reasons_are_found_wherever_they_stand() -> None:
    source = """
def f():
    raise NoAnswerError(*said, Reason("a b", x=1, y=2)) from None
more = [Reason(code, **facts)]
"""
    facts = frozenset({"x", "y"})
    assert set(made_in(source, "f.py")) == {Made("f.py:4", "", None), Made("f.py:3", "a b", facts)}


@pytest.mark.parametrize(
    ("said", "must", "may"),
    [
        ("{file}: {count:.0f} of {type!r}", {"file", "count", "type"}, {"file", "count", "type"}),
        ("nothing named", set(), set()),
        (lambda labels, file="": f"{labels} {file}", {"labels"}, {"labels", "file"}),
    ],
)
def test_what_a_sentence_takes_is_read_off(said: Sentence, must: set[str], may: set[str]) -> None:
    assert taken_by(said) == (must, may)


def test_a_reason_is_told_in_its_sentence() -> None:
    assert sentence(Reason("divergences", count=3, draws=4000)) == (
        "The fit got stuck 3 times in 4000 draws, so a part of what the readings allow may be "
        "missing."
    )
    assert sentence(Reason("no posterior")) == "This season was not fitted yet; fit it first."
    there = sentence(Reason("no posterior", file="a/posterior.nc"))
    assert there == "a/posterior.nc: this season was not fitted yet; fit it first."


def test_sentences_are_told_once_and_in_order() -> None:
    few, apart = Reason("few effective draws", ess=12.4), Reason("chains disagree", rhat=1.2)
    said = sentences([few, apart, Reason("few effective draws", ess=12.4)])
    assert said == [
        "The draws are worth only 12 independent ones (should be 400 or more).",
        "The fit's runs disagree (by 1.200; it should be 1.01 or less).",
    ]
    assert told(NoAnswerError(few, apart, few)) == " ".join(said)


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (
            Reason("too few readings", season="spring", readings=13, needed=14),
            "Season 'spring' has 13 readings; a fit needs at least 14. Go on logging, best "
            "through a stretch of complete rest.",
        ),
        (
            Reason("too few readings", season="spring", readings=1, needed=14),
            "Season 'spring' has 1 reading; a fit needs at least 14. Go on logging, best "
            "through a stretch of complete rest.",
        ),
        (
            Reason("chains disagree", rhat=float("nan")),
            "The fit's runs disagree (by nan; it should be 1.01 or less).",
        ),
        (
            Reason("edited since the fit", last_night="2031-03-30"),
            "The season was edited in what had already been fitted (readings, sessions, types, "
            "interventions or stressors up to 2031-03-30); fit again.",
        ),
        (
            Reason("new since the fit", labels=["swim", "bath"]),
            "New since the fit: 'swim', 'bath'; fit again to learn it.",
        ),
        (
            Reason("another story since the fit", pareto_k=0.754),
            "The readings since the fit tell another story than the fit did (0.75; it "
            "should be 0.7 or less); fit again.",
        ),
        (
            Reason("unusable fit"),
            "No answer is given from such a fit; fit again with another seed or more draws, and "
            "check the season if that does not help.",
        ),
        (
            Reason("left out of forecasts", label="swim"),
            "'swim' is new and no reading shows it yet, so forecasts leave it out.",
        ),
        (
            Reason("type not shown yet", type="swim"),
            "'swim' is new and no reading shows it yet: until one does, it counts as a session "
            "like any of the others.",
        ),
        (
            Reason("damaged posterior", file="a/posterior.nc"),
            "a/posterior.nc: this fit is damaged, as it is not what was written; fit again.",
        ),
        (
            Reason("foreign posterior", file="a/posterior.nc"),
            "a/posterior.nc: this is no fit that slackwater wrote; fit again.",
        ),
    ],
)
def test_what_is_said_of_a_fit_and_of_what_is_new_since(reason: Reason, said: str) -> None:
    assert sentence(reason) == said
