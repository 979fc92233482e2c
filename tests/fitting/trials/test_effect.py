"""Days saved, rate ratios, and the chance of a clear verdict."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from slackwater.fitting.answers.compare import verdict
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.trials import effect
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

Z = NormalDist().inv_cdf(0.975)
# As good as draws of Normal(0.5, 0.3): the midpoints of 20,000 equal shares.
EFFECTS = np.array([NormalDist(0.5, 0.3).inv_cdf((k + 0.5) / 20000) for k in range(20000)])


def test_assurance_of_the_literature() -> None:
    # Phi((m - z s) / sqrt(s^2 + v)): O'Hagan, Stevens & Campbell 2005, Pharm Stat 4:187-201,
    # with m .5, s .2, v .09: .617743; and the power at the mean: .705414.
    assert effect.assurance(EFFECTS, 0.2, Z) == pytest.approx(0.617743, abs=2e-5)
    assert effect.assurance(np.array([0.5]), 0.2, Z) == pytest.approx(0.705414, abs=1e-6)


def test_limits_of_assurance() -> None:
    # A known effect: the power. A perfect estimate: the chance that there is an effect at all.
    narrow = 0.5 + (EFFECTS - 0.5) * 1e-6
    assert effect.assurance(narrow, 0.2, Z) == pytest.approx(0.705414, abs=1e-5)
    above = NormalDist().cdf(0.5 / 0.3)
    assert effect.assurance(EFFECTS, 1e-9, Z) == pytest.approx(above, abs=1e-4)


def test_sample_size_by_the_usual_formula_where_the_prior_fades() -> None:
    # n = ((z_.975 + z_.8) / (effect / sd per session))^2, for an effect so small that the
    # trial's information dwarfs the prior's.
    true, information = 0.02, 2.0
    usual = ((Z + NormalDist().inv_cdf(0.8)) / true) ** 2 / information
    found = effect.sessions_for(np.array([true]), np.array([information]), 0.8, 20000)
    assert found == pytest.approx(usual, rel=0.01)
    assert effect.sessions_for(np.array([true]), np.array([information]), 0.8, 64) is None


def test_the_chance_of_faster_against_a_simulation() -> None:
    # The conjugate normal model by brute force: data, posterior, verdict.
    rng = np.random.default_rng(sum(map(ord, "faster")))
    for true, information, sessions in ((0.3, 1.7, 16), (0.5, 1.7, 12), (0.5, 3.0, 24)):
        gained = information * sessions
        estimate = rng.normal(true, gained**-0.5, 40000)
        precision = gained + 1 / 0.3**2
        mean = estimate * gained / precision
        share = (mean * precision**0.5 >= Z).mean()
        told = effect.chance_of_faster(np.array([true]), np.array([information]), sessions)
        assert told == pytest.approx(share, abs=5 * 0.5 / 200)


def test_the_verdict_is_the_one_that_the_chance_is_about() -> None:
    # Draws of a posterior just beyond, and just short of, z.
    draws = np.array([NormalDist().inv_cdf((k + 0.5) / 4000) for k in range(4000)])
    assert verdict(0.2 * draws + 0.2 * (Z + 0.02)) == "faster"
    assert verdict(0.2 * draws + 0.2 * (Z - 0.02)) == "undecided"


def test_days_saved_and_ratios_are_inverse() -> None:
    to_shorten = np.array([0.4, 1.0, 2.5, 6.0])
    log_ratio = effect.log_ratio_for(to_shorten, 0.5)
    assert np.isnan(log_ratio[0])
    assert np.exp(log_ratio[1:]) == pytest.approx([2.0, 1.25, 12 / 11])
    assert effect.days_saved(to_shorten[1:], log_ratio[1:]) == pytest.approx([0.5] * 3)
    assert effect.days_saved(np.array([3.0]), np.log([0.5])) == pytest.approx([-3.0])


def test_what_a_measure_can_shorten_is_all_but_the_first_day() -> None:
    # Half-lives of 2 days and 1 day, threshold 0.05: row falls 0.4 to 0.05 in 3 half-lives,
    # lift 0.2 to 0.05 in 2; a walk of 0.02 starts under it.
    types = {"row": (0.4, 2.0), "lift": (0.2, 1.0), "walk": (0.02, 1.0)}
    sessions = [(2 * k, kind) for k, kind in enumerate(list(types) * 2)]
    now = by_hand.standing_of(by_hand.season(20, sessions), Known(types))
    assert effect.days_to_shorten(now)[0] == pytest.approx([6.0, 2.0, 0.0])
    assert typical_days(now)[0] == pytest.approx([7.0, 3.0, 1.0])
    assert effect.typical_session(now, {"row": 0.25, "lift": 0.75})[0] == pytest.approx(3.0)


@pytest.mark.parametrize(("count", "of"), [(0, 8), (3, 8), (8, 8), (31, 40)])
def test_ranges_of_shares_are_those_of_statsmodels(count: int, of: int) -> None:
    expected = proportion_confint(count, of, alpha=0.2, method="wilson")
    assert effect.share_range(count, of, 0.8) == pytest.approx(expected, abs=1e-12)
