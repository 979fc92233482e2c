"""Draws of athletes and their group together, where what they must come to is known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from arviz_stats.base import array_stats
from numpy.typing import NDArray
from scipy.stats import multivariate_normal, norm

from slackwater.fitting.pooling.joint_between import Between, Crossed, Spread
from slackwater.fitting.pooling.joint_chain import JointChain
from slackwater.fitting.pooling.joint_density import JointDensity
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.model import names as n
from slackwater.model.population import SHARED
from slackwater.model.priors import Priors
from tests.fitting.pooling.joined import joined, point
from tests.model.seasons import season, table

Floats = NDArray[np.float64]

DRAWS = 300


def test_where_readings_tell_nothing_draws_are_what_is_believed() -> None:
    """Every share is uniform then, and means, families' SDs and athletes' scores are normal."""
    nothing = table("readings").assign(ln_sd=1000.0)
    seasons = [season(readings=nothing).observed() for _ in range(2)]
    compiled = [compiled_for(each, Priors()) for each in seasons]
    joint = JointDensity(compiled, seasons, Priors())
    alone = [next(each.rounds(place, 4)).points for place, each in enumerate(compiled)]
    start = np.concatenate([points.reshape(-1, points.shape[-1]) for points in alone], axis=1)
    core = np.concatenate([c.core for c in compiled])
    drawn = JointChain(joint, start, core, seed=1).draw(tune=100, draws=DRAWS)
    assert drawn.divergences == 0
    scores = np.array([joint.rows.scores(each) for each in drawn.parameters])
    told = np.isin(np.arange(drawn.groups.logits.shape[1]), joint.quantities)
    share = drawn.groups.share[:, told]
    for each in (drawn.groups.means, drawn.groups.families, scores, norm.ppf(share)):
        draws = each.reshape(DRAWS, -1)
        assert np.abs(in_errors(draws)).max() < 5
        assert np.abs(in_errors(np.square(draws) - 1)).max() < 5


def in_errors(draws: Floats) -> Floats:
    """Return means that should be 0 in their Monte Carlo standard errors, a column each."""
    effective = [array_stats.ess(each[None], chain_axis=0, draw_axis=1) for each in draws.T]
    return np.asarray(draws.mean(axis=0) / draws.std(axis=0) * np.sqrt(effective))


def test_means_are_integrated_out_of_a_spread_as_of_any_normal() -> None:
    values, means = np.array([0.4, -0.2, 0.1, 1.3, -0.9]), np.array([7, 7, 3, 3, -1])
    spread = Spread.of(values, means)

    def density(share: float, log_sd: float) -> float:
        same = (means[:, None] == means) & (means != -1)
        covariance = np.where(same, 1 - share, 0.0) + np.diag(np.where(means == -1, 1.0, share))
        return float(multivariate_normal.logpdf(values, cov=np.exp(2 * log_sd) * covariance))

    at = [(0.3, 0.0), (0.7, -0.4), (0.05, 0.3)]
    found = np.array([spread.log_density(*each) for each in at])
    expected = np.array([density(*each) for each in at])
    assert np.diff(found) == pytest.approx(np.diff(expected), abs=1e-12)
    assert spread.which.tolist() == [3, 7]


def test_means_given_their_spread_are_those_of_normals() -> None:
    """A normal prior and normal values: mean and SD in closed form."""
    values, share, log_sd = np.array([0.4, -0.2, 0.1]), 0.3, -0.5
    spread = Spread.of(values, np.zeros(3, int))
    rng = np.random.default_rng(3)
    draws = np.array([spread.draw_means(share, log_sd, rng)[0] for _ in range(4000)])
    sd = np.exp(log_sd)
    precision = 1 + 3 * (1 - share) / share
    mean = np.sqrt(1 - share) * values.sum() / sd / share / precision
    assert draws.mean() == pytest.approx(mean, abs=4 / np.sqrt(4000 * precision))
    assert draws.std() == pytest.approx(precision**-0.5, rel=0.05)


def test_athletes_and_types_are_integrated_out_together_as_of_any_normal() -> None:
    values = np.array([-1.1, -0.7, -1.4, -0.2, -0.9, -1.6])
    athletes, means = np.array([4, 4, 5, 5, 5, 9]), np.array([2, 0, 2, 0, -1, 2])
    scale = 0.8
    crossed = Crossed.of(values, athletes, means, scale)

    def covariance(of_types: float, log_sd: float, of_middle: float) -> Floats:
        same_type = (means[:, None] == means) & (means != -1)
        own = np.diag(np.where(means == -1, 1.0, of_types))
        types = np.exp(2 * log_sd) * (np.where(same_type, 1 - of_types, 0.0) + own)
        whose = np.where(athletes[:, None] == athletes, of_middle, 0.0)
        return np.asarray(types + scale**2 * (1 - of_middle + whose))

    at = [(0.3, -0.6, 0.4), (0.7, 0.1, 0.2), (0.1, -1.0, 0.9)]
    found = np.array([crossed.log_density(*each) for each in at])
    expected = np.array([multivariate_normal.logpdf(values, cov=covariance(*each)) for each in at])
    assert np.diff(found) == pytest.approx(np.diff(expected), abs=1e-9)

    rng = np.random.default_rng(5)
    drawn = [crossed.draw(*at[0], rng) for _ in range(4000)]
    # The athletes' means given the values, by what normals have in common.
    of_types, log_sd, of_middle = at[0]
    whose = np.array([4, 5, 9])[:, None] == athletes
    between = scale**2 * (1 - of_middle + of_middle * whose)
    mean = between @ np.linalg.solve(covariance(*at[0]), values)
    athletes_drawn = np.array([each.athletes for each in drawn])
    assert athletes_drawn.mean(axis=0) == pytest.approx(mean, abs=0.03)
    of_group = scale**2 * (1 - of_middle) * np.ones(len(values))
    middle = of_group @ np.linalg.solve(covariance(*at[0]), values)
    middle /= scale * np.sqrt(1 - of_middle)
    assert np.mean([each.middle for each in drawn]) == pytest.approx(middle, abs=0.05)
    types = np.exp(2 * log_sd) * (1 - of_types) * (np.array([0, 2])[:, None] == means)
    of_type = types @ np.linalg.solve(covariance(*at[0]), values)
    of_type /= np.exp(log_sd) * np.sqrt(1 - of_types)
    found = np.mean([each.types for each in drawn], axis=0)
    assert found == pytest.approx(of_type, abs=0.06)


def test_what_readings_know_of_athletes_stays_while_the_group_is_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Log dips, what attributes add to them, and log rates; middles are drawn given these."""
    joint = joined()
    at = point(joint)
    rows, before = joint.rows, at.parameters.copy()
    seen: list[Floats] = []
    of = Crossed.of

    def watched(values: Floats, *rest: Any) -> Crossed:
        seen.append(values)
        return of(values, *rest)

    monkeypatch.setattr(Crossed, "of", watched)
    group = Between(joint, np.random.default_rng(1)).draw(at.group, at.parameters)
    assert np.abs(group.families - at.group.families).min() > 0
    np.testing.assert_allclose(rows.added(at.parameters), rows.added(before), rtol=1e-12)
    np.testing.assert_array_equal(at.parameters[rows.at[rows.dips]], before[rows.at[rows.dips]])
    middles = before[rows.at[rows.dips]] - rows.added(before) - Priors().type_dip.mean
    np.testing.assert_allclose(seen, [middles], rtol=1e-12)
    for number, family in zip(joint.families, range(len(joint.families)), strict=True):
        if SHARED[number].name == n.TYPE_LOG_RATE:
            mine = rows.at[rows.quantity == number]
            log_sds = (joint.log_sds(each.families)[family] for each in (group, at.group))
            now, then = (np.exp(log_sd) for log_sd in log_sds)
            np.testing.assert_allclose(now * at.parameters[mine], then * before[mine], rtol=1e-12)
    at_places = joint.log_sds(group.families)[joint.family_of]
    np.testing.assert_allclose(at.parameters[joint.family_at], at_places, rtol=1e-12)
