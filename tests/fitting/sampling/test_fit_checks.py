"""What is said of a fit, and when it is good for nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from slackwater.fitting.sampling.posterior import FitChecks

CLEAN = FitChecks(0, 4000, worst_rhat=1.01, worst_bulk_ess=400.0, worst_tail_ess=400.0)
NAN = float("nan")


def test_nothing_is_said_of_a_clean_fit() -> None:
    # R-hat up to 1.01 and 100 effective draws a chain: Vehtari et al. 2021, Bayesian Analysis
    # 16:667-718, section 4 (from memory).
    assert CLEAN.complaints == []
    assert CLEAN.usable


@pytest.mark.parametrize(
    ("checks", "said"),
    [
        (
            replace(CLEAN, divergences=1),
            "The fit had 1 divergent steps in 4000 draws, so parts of the posterior may be "
            "missing.",
        ),
        (
            replace(CLEAN, worst_rhat=1.0101),
            "The chains disagree (R-hat 1.010, should be 1.01 or less).",
        ),
        (
            replace(CLEAN, worst_bulk_ess=399.0),
            "The draws are worth only 399 independent ones (should be 400 or more).",
        ),
        (
            replace(CLEAN, worst_tail_ess=12.4),
            "The draws are worth only 12 independent ones (should be 400 or more).",
        ),
        (replace(CLEAN, worst_rhat=NAN), "The chains disagree (R-hat nan, should be 1.01 or less)"),
        (replace(CLEAN, worst_bulk_ess=NAN), "The draws are worth only nan independent ones"),
        (replace(CLEAN, worst_tail_ess=NAN), "The draws are worth only nan independent ones"),
    ],
)
def test_each_flaw_is_said_once(checks: FitChecks, said: str) -> None:
    [complaint] = checks.complaints
    assert complaint.startswith(said)


def test_all_flaws_are_said() -> None:
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
