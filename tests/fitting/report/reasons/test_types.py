"""Sentences about types: what they name, and that they say how to mend it."""

from __future__ import annotations

import pytest

from slackwater.fitting.answers.elements import SAME_RULE
from slackwater.fitting.repeating.narrowing import GAIN_RULE, NARROWING_RULE, NEXT_FEW
from slackwater.fitting.repeating.repeats import Repeats
from slackwater.fitting.report.reasons import sentence, types
from slackwater.model.errors import Reason

SAID = {
    Reason("recovers otherwise", types=["row"]): "After 'row', readings do not climb as the model "
    "has it (the mornings after, by type): recovery may have two speeds, or be deepest later. Take "
    "the days of such a type with reserve.",
    Reason("never left undisturbed", types=["row", "lift"]): "Never left undisturbed until it was "
    "over: 'row', 'lift'. What is said of it rests on how the model splits overlapping dips; "
    "leave the next one undisturbed.",
    Reason("latest sessions not listed", count=1): "The latest session is not in the fit and not "
    "listed; fit again once a reading shows it.",
    Reason("latest sessions not listed", count=3): "The latest 3 sessions are not in the fit and "
    "not listed; fit again once a reading shows it.",
    Reason("values on the same days", attribute="mode", a="row", b="lift"): "Types with mode "
    "'row' and types with mode 'lift' were always trained on the same days, so the two cannot be "
    "told apart; train them on days of their own.",
    Reason(
        "attributes always together",
        attributes=["effort", "mode"], values=[["easy", "row"], ["hard", "lift"]],
    ): "effort and mode always go together ('easy' with 'row', 'hard' with 'lift'), so each "
    "contrast of the one is also the other's; a type that mixes them would tell them apart.",
    Reason(
        "values of the same types",
        attributes=["mode", "effort"], values=["lift", "hard"], types=["lift"],
    ): "mode 'lift' and effort 'hard' are the same type ('lift'), so what is found of one is "
    "found of both.",
    Reason(
        "values of the same types",
        attributes=["mode", "effort"], values=["lift", "hard"], types=["lift", "squat"],
    ): "mode 'lift' and effort 'hard' are the same types ('lift', 'squat'), so what is found of "
    "one is found of both.",
    Reason("contrasts of one type", attribute="mode", value="lift", type="squat"): "Only 'squat' "
    "has mode 'lift', so its contrasts are that type's, not the attribute's by itself.",
    Reason(
        "sides also differ",
        attribute="mode", a="lift", b="run", other="effort", of_a=["hard"], of_b=["easy", "long"],
    ): "mode 'lift' against 'run' is also effort 'hard' against 'easy' or 'long': the contrast is "
    "of both at once.",
}  # fmt: skip


@pytest.mark.parametrize(("reason", "said"), SAID.items(), ids=lambda x: str(x)[:30])
def test_what_is_said(reason: Reason, said: str) -> None:
    assert sentence(reason) == said


@pytest.mark.parametrize(
    ("columns", "where"),
    [(["mode"], "column 'mode'"), ([], "any column"), (["mode", "effort"], "any column")],
)
def test_nothing_to_compare_says_what_to_do(columns: list[str], where: str) -> None:
    said = sentence(Reason("no two values trained", columns=columns))
    assert said.startswith(f"No two values in {where} of types.csv were trained, so there is ")
    assert "Give each type its attributes in types.csv" in said


def test_the_rules_are_said_with_their_numbers() -> None:
    assert f"each of the next {NEXT_FEW} undisturbed sessions" in sentence(NARROWING_RULE)
    assert sentence(GAIN_RULE).startswith("a repeat pays most where narrows by, times the type's")
    assert sentence(Repeats.after_rule).startswith("readings on the mornings after a session of")
    assert sentence(SAME_RULE).startswith("a difference under half a day is not meaningful")


def test_every_sentence_is_looked_at_here() -> None:
    rules = {rule.code for rule in (NARROWING_RULE, GAIN_RULE, Repeats.after_rule, SAME_RULE)}
    looked_at = {reason.code for reason in SAID} | rules | {"no two values trained"}
    assert looked_at == set(types.SENTENCES)
