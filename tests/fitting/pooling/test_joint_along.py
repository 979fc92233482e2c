"""A group that moves with its athletes: the same density, in other words."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from slackwater.fitting.pooling.joint_along import Along, Known
from slackwater.fitting.pooling.joint_density import JointDensity
from slackwater.model import names as n
from tests.fitting.pooling.joined import Floats, Point, joined, point


@pytest.fixture(scope="module")
def joint() -> JointDensity:
    return joined()


@pytest.fixture(scope="module")
def along(joint: JointDensity) -> Along:
    known = np.random.default_rng(1).uniform(0.3, 0.9, len(joint.rows.at))
    return Along(joint, known * np.random.default_rng(2).standard_normal((50, len(known))))


def log_density(joint: JointDensity, along: Along, at: Point) -> float:
    """Return the joint log density of a group and its athletes, of what moves."""
    rows, group = joint.rows, at.group
    log = joint.of_athletes(at.parameters)[0]
    moves = np.isin(rows.at, along.at)
    t, b2 = rows.scores(at.parameters)[moves], group.share[rows.quantity[moves]]
    middle = np.sqrt(1 - b2) * group.means[rows.mean[moves]]
    log += float((norm.logpdf(t, middle, np.sqrt(b2)) - norm.logpdf(t)).sum())
    log += float(norm.logpdf(group.means[along.means]).sum())
    share = group.share[along.shares]
    log += float(np.log(share * (1 - share)).sum())
    counts = np.bincount(joint.family_of)[along.families]
    return log + float((norm.logpdf(group.families[along.families]) * (1 - counts)).sum())


def test_a_group_and_its_athletes_are_where_they_were(joint: JointDensity, along: Along) -> None:
    at = point(joint)
    kept = along.kept(at.group, at.parameters)
    group, parameters = along.placed(along.point(at.group), at.group, kept, at.parameters)
    np.testing.assert_allclose(parameters, at.parameters, atol=1e-12)
    for found, expected in zip(group, at.group, strict=True):
        np.testing.assert_allclose(found, expected, atol=1e-12)


def test_what_readings_know_through_log_dips_alone_stays(joint: JointDensity, along: Along) -> None:
    at, other = point(joint), point(joint, seed=5)
    kept = along.kept(at.group, at.parameters)
    group, parameters = along.placed(along.point(other.group), at.group, kept, at.parameters)
    changed = np.flatnonzero(parameters != at.parameters)
    assert set(changed) <= {*along.at.tolist(), *along.family_at.tolist()}
    dips = [joint.shared[mean][0] == n.TYPE_LOG_DIP for mean in range(len(joint.shared))]
    np.testing.assert_array_equal(group.means[dips], at.group.means[dips])


def test_the_density_is_the_joint_one_with_what_the_change_of_variables_adds(
    joint: JointDensity, along: Along
) -> None:
    at, step = point(joint), 1e-6
    kept = along.kept(at.group, at.parameters)

    def changed(where: Floats) -> tuple[float, float]:
        group, parameters = along.placed(where, at.group, kept, at.parameters)

        def scores(where: Floats, kept: Floats) -> Floats:
            moved, out = along.placed(where, at.group, kept, at.parameters)
            return np.concatenate([moved.means[along.means], out[along.at]])

        free = np.concatenate([where[: len(along.means)], kept])
        slopes = np.empty((len(free), len(free)))
        for place in range(len(free)):
            ends = []
            for way in (step, -step):
                moved = free.copy()
                moved[place] += way
                means, others = np.split(moved, [len(along.means)])
                ends.append(scores(np.concatenate([means, where[len(means) :]]), others))
            slopes[:, place] = (ends[0] - ends[1]) / (2 * step)
        _, more = np.linalg.slogdet(slopes)
        return log_density(joint, along, Point(group, parameters)), float(more)

    here, there = along.point(at.group), along.point(point(joint, seed=5).group)
    (first, of_first), (second, of_second) = changed(here), changed(there)
    found = (
        along.density(there, kept, at.parameters)[0] - along.density(here, kept, at.parameters)[0]
    )
    assert found == pytest.approx(second + of_second - first - of_first, abs=1e-5)


def test_slopes_are_those_of_finite_differences(joint: JointDensity, along: Along) -> None:
    at = point(joint)
    kept, where = along.kept(at.group, at.parameters), along.point(at.group)
    slopes = along.density(where, kept, at.parameters)[1]
    differences = [
        (
            along.density(where + step, kept, at.parameters)[0]
            - along.density(where - step, kept, at.parameters)[0]
        )
        / 2e-5
        for step in 1e-5 * np.eye(len(where))
    ]
    np.testing.assert_allclose(slopes, differences, rtol=1e-5, atol=1e-5)


def test_a_share_beyond_all_digits_has_no_density(joint: JointDensity, along: Along) -> None:
    at = point(joint)
    kept, far = along.kept(at.group, at.parameters), along.point(at.group)
    far[slice(*along.ends)] = 40.0
    log, slopes = along.density(far, kept, at.parameters)
    assert log == -np.inf
    assert not slopes.any()


def test_what_is_known_is_the_posterior_without_its_prior() -> None:
    """Normal draws of N(1.2, 0.6^2) under N(0, 1): what is left is told, in closed form."""
    draws = 1.2 + 0.6 * np.random.default_rng(3).standard_normal((20_000, 1))
    known = Known.of(draws)
    precision = 1 / 0.36 - 1
    assert known.precision == pytest.approx([precision], rel=0.05)
    assert known.middle == pytest.approx([1.2 / 0.36 / precision], rel=0.05)
