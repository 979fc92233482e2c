"""The words for next steps: one sentence for every stage, with what it is about."""

from __future__ import annotations

import pytest

from slackwater.fitting.journey.next_step import RULES, NextStep, Where, next_step
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.report.steps import SENTENCES, sentence
from tests.fitting.journey.test_next_step import (
    BEGUN,
    FASTER,
    FITTED,
    OPEN,
    OVER,
    PLANNED,
    UNDECIDED,
)
from tests.fitting.trials.by_hand import MEASURE, plan

FACTS = OPEN._replace(rare="swim").facts()


def test_every_stage_has_a_sentence_and_none_is_left_over() -> None:
    assert set(SENTENCES) == {stage for stage, _ in RULES}


@pytest.mark.parametrize("stage", SENTENCES)
def test_each_sentence_is_made_from_the_facts(stage: str) -> None:
    said = sentence(NextStep(stage, FACTS))
    assert said
    assert not set("{}") & set(said)
    assert not said.endswith((":", ".", " "))  # what to do follows behind a colon
    assert "slackwater " not in said  # which says how, where the way is known


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (Where(begun=False), "a file readings.csv in the season's folder"),
        (Where(begun=False), "such as\n  date,rmssd_ms\n  2031-01-06,57.6\nand then"),
        (Where(readings=3), "the first fit takes 11 more readings"),
        (BEGUN._replace(plateau=True), "log each session in sessions.csv (date,type)"),
        (BEGUN._replace(plateau=True), "after 4 weeks or so"),
        (FITTED._replace(fit_age=30), "the fit is 30 readings old"),
        (FITTED._replace(asked="elements", weeks=5), "for 3 more weeks"),
        (FITTED._replace(asked="elements", rare="swim"), "swim was done fewer than 4 times"),
        (PLANNED, "after 2031-05-01"),
        (OVER, "hold the plan against what was done"),
        (OPEN, f"the trial of {MEASURE} is on"),
        (OPEN._replace(due=True), f"judge the trial of {MEASURE}"),
        (FASTER, f"keep {MEASURE}"),
        (FASTER, "Two weeks after 2031-04-20 or later"),
        (FASTER._replace(since_judged=14), f"{MEASURE} was adopted"),
        (UNDECIDED, f"the trial of {MEASURE} ended undecided, so it is not adopted"),
    ],
)
def test_sentences_name_what_they_are_about(at: Where, words: str) -> None:
    assert words in sentence(next_step(at))


def test_names_with_braces_are_told_as_they_are() -> None:
    odd = OPEN._replace(trial=Trial(plan(measure="{0} bath {folder}")))
    assert "the trial of {0} bath {folder} is on" in sentence(next_step(odd))
