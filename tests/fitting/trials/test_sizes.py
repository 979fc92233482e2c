"""The chance of a clear verdict by the size of a trial."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from slackwater.fitting.measures.verdicts import Effect, verdict
from slackwater.fitting.trials.rehearsal import Rehearsed
from slackwater.fitting.trials.sizes import Curve, assurance, information_of, share_range
from slackwater.model.priors import Belief, Priors

PRIOR = Priors().log_rate_ratio
Z = NormalDist().inv_cdf(0.975)
# As good as draws of Normal(0.5, 0.3): the midpoints of 20,000 equal shares.
EFFECTS = np.array([NormalDist(0.5, 0.3).inv_cdf((k + 0.5) / 20000) for k in range(20000)])


def test_assurance_of_the_literature() -> None:
    # Phi((m - z s) / sqrt(s^2 + v)): O'Hagan, Stevens & Campbell 2005, Pharm Stat 4:187-201,
    # with m .5, s .2, v .09: .617743; and the power at the mean: .705414.
    assert assurance(EFFECTS, 0.2, Z) == pytest.approx(0.617743, abs=2e-5)
    assert assurance(np.array([0.5]), 0.2, Z) == pytest.approx(0.705414, abs=1e-6)


def test_limits_of_assurance() -> None:
    # A known effect: the power. A perfect estimate: the chance that there is an effect at all.
    narrow = 0.5 + (EFFECTS - 0.5) * 1e-6
    assert assurance(narrow, 0.2, Z) == pytest.approx(0.705414, abs=1e-5)
    above = NormalDist().cdf(0.5 / 0.3)
    assert assurance(EFFECTS, 1e-9, Z) == pytest.approx(above, abs=1e-4)


def test_sample_size_by_the_usual_formula_where_the_prior_fades() -> None:
    # n = ((z_.975 + z_.8) / (effect / sd per session))^2, for an effect so small that the
    # trial's information dwarfs the prior's.
    true, information = 0.02, 2.0
    usual = ((Z + NormalDist().inv_cdf(0.8)) / true) ** 2 / information
    curve = Curve(np.array([true]), np.array([information]), PRIOR)
    assert curve.sessions_for(0.8, 20000) == pytest.approx(usual, rel=0.01)
    assert curve.sessions_for(0.8, 64) is None


@pytest.mark.parametrize("prior", [PRIOR, Belief(0.0, 0.1), Belief(0.2, 0.15)])
def test_the_chance_of_faster_against_a_simulation(prior: Belief) -> None:
    # The conjugate normal model by brute force: data, posterior, verdict.
    rng = np.random.default_rng(sum(map(ord, "faster")))
    for true, information, sessions in ((0.3, 1.7, 16), (0.5, 1.7, 12), (0.5, 3.0, 24)):
        gained = information * sessions
        estimate = rng.normal(true, gained**-0.5, 40000)
        precision = gained + 1 / prior.sd**2
        mean = (estimate * gained + prior.mean / prior.sd**2) / precision
        share = (mean * precision**0.5 >= Z).mean()
        told = Curve(np.array([true]), np.array([information]), prior).chance(sessions)
        assert told == pytest.approx(share, abs=5 * 0.5 / 200)


def test_a_tighter_prior_takes_more_sessions() -> None:
    known = np.array([0.4]), np.array([2.0])
    curves = [Curve(*known, Belief(0.0, sd)) for sd in (1.0, 0.3, 0.1)]
    wide, usual, tight = (curve.sessions_for(0.8, 1000) or 0 for curve in curves)
    assert 0 < wide < usual < tight


def test_what_a_session_adds_is_what_the_prior_did_not_know() -> None:
    prior = Belief(0.1, 0.12)
    gained, sessions = 40.0, 16
    sd = (gained + 1 / prior.sd**2) ** -0.5
    results = [Rehearsed(sessions, 100, 0.3, 0.2, sd, "undecided")]
    assert information_of(results, prior) == pytest.approx([gained / sessions])


def test_the_verdict_is_the_one_that_the_chance_is_about() -> None:
    prior = Belief(0.0, 0.3)
    assert verdict(Effect(0.2 * (Z + 0.01), 0.2, prior).below) == "faster"
    assert verdict(Effect(0.2 * (Z - 0.01), 0.2, prior).below) == "undecided"


@pytest.mark.parametrize(("count", "of"), [(0, 8), (3, 8), (8, 8), (31, 40)])
def test_ranges_of_shares_are_those_of_statsmodels(count: int, of: int) -> None:
    expected = proportion_confint(count, of, alpha=0.2, method="wilson")
    assert share_range(count, of, 0.8) == pytest.approx(expected, abs=1e-12)
