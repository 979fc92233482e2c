"""What is complained of a fit, and when it is good for nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model.errors import Reason

CLEAN = FitChecks(0, 4000, worst_rhat=1.01, worst_bulk_ess=400.0, worst_tail_ess=400.0)
NAN = float("nan")


def test_nothing_is_said_of_a_clean_fit() -> None:
    # R-hat up to 1.01 and 100 effective draws a chain: Vehtari et al. 2021, Bayesian Analysis
    # 16:667-718, section 4 (from memory).
    assert CLEAN.complaints == []
    assert CLEAN.usable


@pytest.mark.parametrize(
    ("checks", "complaint"),
    [
        (replace(CLEAN, divergences=1), Reason("divergences", count=1, draws=4000)),
        (replace(CLEAN, worst_rhat=1.0101), Reason("chains disagree", rhat=1.0101)),
        (replace(CLEAN, worst_bulk_ess=399.0), Reason("few effective draws", ess=399.0)),
        (replace(CLEAN, worst_tail_ess=12.4), Reason("few effective draws", ess=12.4)),
    ],
)
def test_each_flaw_is_complained_of_once(checks: FitChecks, complaint: Reason) -> None:
    assert checks.complaints == [complaint]


@pytest.mark.parametrize(
    ("checks", "code"),
    [
        (replace(CLEAN, worst_rhat=NAN), "chains disagree"),
        (replace(CLEAN, worst_bulk_ess=NAN), "few effective draws"),
        (replace(CLEAN, worst_tail_ess=NAN), "few effective draws"),
    ],
)
def test_what_is_not_known_is_a_flaw(checks: FitChecks, code: str) -> None:
    [complaint] = checks.complaints
    assert complaint.code == code
    [value] = complaint.facts.values()
    assert math.isnan(value)


def test_all_flaws_are_complained_of() -> None:
    assert len(FitChecks(7, 4000, 1.2, 50.0, 60.0).complaints) == 3


@pytest.mark.parametrize(
    ("checks", "usable"),
    [
        (replace(CLEAN, worst_rhat=1.05), True),
        (replace(CLEAN, worst_rhat=1.0501), False),
        (replace(CLEAN, worst_rhat=NAN), False),
        (replace(CLEAN, worst_bulk_ess=100.0), True),
        (replace(CLEAN, worst_bulk_ess=99.9), False),
        (replace(CLEAN, worst_tail_ess=99.9), False),
        (replace(CLEAN, worst_bulk_ess=NAN), False),
        (replace(CLEAN, worst_tail_ess=NAN), False),
        (replace(CLEAN, divergences=40), True),
        (replace(CLEAN, divergences=41), False),
    ],
)
def test_a_fit_is_good_for_nothing_beyond_these_bounds(checks: FitChecks, usable: bool) -> None:
    assert checks.usable == usable
