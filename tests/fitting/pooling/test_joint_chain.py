"""Draws of athletes and their group together, where what they must come to is known."""

from __future__ import annotations

import numpy as np
import pytest
from arviz_stats.base import array_stats
from numpy.typing import NDArray
from scipy.stats import multivariate_normal, norm

from slackwater.fitting.pooling.joint_between import Between, Spread
from slackwater.fitting.pooling.joint_chain import JointChain
from slackwater.fitting.pooling.joint_density import JointDensity
from slackwater.fitting.pooling.joint_dips import Dips, DipsDrawn, Spreads
from slackwater.fitting.pooling.joint_places import NAMES
from slackwater.fitting.pooling.joint_scales import SCORES, Scales
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.model import names as n
from slackwater.model.population import SHARED
from slackwater.model.priors import Priors
from tests.fitting.pooling.joined import joined, point
from tests.model.seasons import season, table

Floats = NDArray[np.float64]

DRAWS = 200


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
    assert drawn.divergences <= 3
    scores = np.array([joint.rows.scores(each) for each in drawn.parameters])
    told = np.isin(np.arange(drawn.groups.logits.shape[1]), joint.quantities)
    share = drawn.groups.share[:, told]
    for each in (drawn.groups.means, drawn.groups.families, scores, norm.ppf(share)):
        draws = each.reshape(DRAWS, -1)
        assert np.abs(in_errors(draws)).max() < 6
        assert np.abs(in_errors(np.square(draws) - 1)).max() < 6


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


def test_what_log_dips_are_sums_of_is_integrated_out_as_of_any_normal() -> None:
    """Three athletes, types 0 and 2 and one of an athlete's own, value 7 and one of one's own."""
    dips = np.array([-1.1, -0.7, -1.4, -0.2, -0.9, -1.6])
    athletes, types = np.array([0, 0, 1, 1, 1, 2]), np.array([2, 0, 2, 0, -1, 2])
    values = np.array([7, 7, -1])  # of athletes 0 and 1, and another of the latter
    pairs = np.array([0, 1, 2, 4, 5]), np.array([0, 0, 1, 2, 2])
    scale = 0.8
    found = Dips.of(dips, types, athletes, values, pairs, scale)
    assert (found.types.tolist(), found.values.tolist()) == ([0, 2], [7])
    has = np.zeros((len(dips), len(values)))
    has[pairs] = 1.0

    def covariances(at: Spreads) -> dict[str, Floats]:
        """Of each part with the dips, and of the dips with each other."""
        of_type, of_value = np.exp(2 * at.log_sd), np.exp(2 * at.value_log_sd)
        type_means = of_type * (1 - at.types) * (np.array([[0], [2]]) == types)
        value_means = of_value * (1 - at.values) * has[:, :2].sum(axis=1)
        same = (values[:, None] == values) & (values != -1)
        between = np.where(same, 1 - at.values, 0) + np.diag(np.where(values < 0, 1, at.values))
        whose = np.arange(3)[:, None] == athletes
        each = scale**2 * (1 - at.middle + at.middle * whose)
        own = np.diag(np.where(types == -1, 1.0, at.types))
        shared = np.where((types[:, None] == types) & (types != -1), 1 - at.types, 0.0)
        whole = each[athletes] + of_type * (shared + own) + of_value * has @ between @ has.T
        return {
            "middle": scale**2 * (1 - at.middle) * np.ones(len(dips)),
            "of_types": type_means,
            "of_values": value_means[None],
            "athletes": each,
            "effects": of_value * between @ has.T,
            "dips": whole,
        }

    at = [
        Spreads(0.4, 0.3, 0.6, -0.6, -1.0),
        Spreads(0.2, 0.7, 0.3, 0.1, -0.5),
        Spreads(0.9, 0.1, 0.5, -1.0, -2.0),
    ]
    logs = np.array([found.log_density(each) for each in at])
    expected = [multivariate_normal.logpdf(dips, cov=covariances(each)["dips"]) for each in at]
    assert np.diff(logs) == pytest.approx(np.diff(expected), abs=1e-9)

    rng, draws = np.random.default_rng(5), 4000
    drawn = [found.draw(at[0], rng) for _ in range(draws)]
    of = covariances(at[0])
    units = {
        "middle": scale * np.sqrt(1 - at[0].middle),
        "of_types": np.exp(at[0].log_sd) * np.sqrt(1 - at[0].types),
        "of_values": np.exp(at[0].value_log_sd) * np.sqrt(1 - at[0].values),
    }
    for name in DipsDrawn._fields:
        each = np.array([getattr(one, name) for one in drawn]) * units.get(name, 1.0)
        mean = of[name] @ np.linalg.solve(of["dips"], dips)
        assert np.abs((each.mean(axis=0) - mean) / each.std(axis=0)).max() < 4.5 / np.sqrt(draws)


def test_what_readings_know_of_athletes_stays_while_the_group_is_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Log dips and log rates do, and what the dips are sums of is drawn of these."""
    joint = joined()
    at = point(joint)
    rows, before = joint.rows, at.parameters.copy()
    seen: list[Dips] = []
    log_density = Dips.log_density

    def watched(dips: Dips, spreads: Spreads) -> float:
        seen.append(dips)
        return log_density(dips, spreads)

    monkeypatch.setattr(Dips, "log_density", watched)
    group = Between(joint, np.random.default_rng(1)).draw(at.group, at.parameters)
    assert np.abs(group.families - at.group.families).min() > 0
    np.testing.assert_array_equal(at.parameters[rows.at[rows.dips]], before[rows.at[rows.dips]])
    centred = before[rows.at[rows.dips]] - Priors().type_dip.mean
    assert seen[-1].told.square + seen[-1].alone.square == pytest.approx(centred @ centred)
    assert seen[-1].told.parts.trace() + seen[-1].alone.parts.trace() == (
        (rows.mean[rows.dips] >= 0).sum() + len(rows.dips) + len(rows.of)
    )
    for family, number in enumerate(joint.families):
        if SHARED[number].name in {n.TYPE_LOG_RATE, n.ATTRIBUTE_RATE}:
            mine = rows.at[rows.quantity == number]
            log_sds = (joint.log_sds(each.families)[family] for each in (group, at.group))
            now, then = (np.exp(log_sd) for log_sd in log_sds)
            np.testing.assert_allclose(now * at.parameters[mine], then * before[mine], rtol=1e-12)
    places = joint.log_sds(group.families)[joint.family_of]
    np.testing.assert_allclose(at.parameters[joint.family_at], places, rtol=1e-12)


def test_an_sd_is_drawn_given_what_it_is_the_sd_of() -> None:
    """Products stay; the SD's own density is that of its scores and of the group, by quadrature."""
    joint = joined()
    at = point(joint)
    scales = Scales(joint, np.random.default_rng(6))
    before = at.parameters.copy()
    scales.draw(at.group, at.parameters)
    rows = joint.rows
    assert {NAMES[rows.quantity[each.row]] for each in scales.every} == set(SCORES)
    for row, scores in scales.every:
        was, now = (np.exp(p[rows.at[row]]) * p[scores] for p in (before, at.parameters))
        np.testing.assert_allclose(now, was, rtol=1e-12)
    untouched = np.ones(len(before), bool)
    for row, scores in scales.every:
        untouched[[rows.at[row], *scores]] = False
    np.testing.assert_array_equal(at.parameters[untouched], before[untouched])

    row, scores = scales.every[0]
    draws = []
    for _ in range(3000):
        scales.draw(at.group, at.parameters)
        draws.append(at.parameters[rows.at[row]])
    x = np.linspace(-6, 3, 4001)
    b2 = at.group.share[rows.quantity[row]]
    middle = np.sqrt(1 - b2) * at.group.means[rows.mean[row]]
    t = (x - rows.centre[row]) / rows.scale[row]
    products = np.exp(before[rows.at[row]]) * before[scores]
    logs = norm.logpdf(products[:, None], 0.0, np.exp(x)).sum(axis=0)
    weights = np.exp(logs + norm.logpdf(t, middle, np.sqrt(b2)))
    mean = np.average(x, weights=weights)
    sd = np.sqrt(np.average((x - mean) ** 2, weights=weights))
    error = in_errors(np.array(draws)[:, None] - mean)
    assert np.abs(error).max() < 4.5
    assert np.std(draws) == pytest.approx(sd, rel=0.1)
