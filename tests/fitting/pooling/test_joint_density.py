"""The joint log density's parts: single athletes, and what their group believes of them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.model import names as n
from slackwater.model.population import SHARED
from slackwater.model.priors import Priors
from tests.fitting.pooling.joined import Floats, joined, point


@pytest.fixture(scope="module")
def joint() -> JointDensity:
    return joined()


def test_what_two_athletes_have_is_shared_and_nothing_else(joint: JointDensity) -> None:
    of = {name: [label for q, label in joint.shared if q == name] for name, _ in joint.shared}
    assert of[n.TYPE_LOG_DIP] == of[n.TYPE_LOG_RATE] == ["easy paddle", "row intervals"]
    assert of[n.LIFT] == ["river dip"]
    assert of[n.STRESSOR_LOG_DIP] == ["head cold"]
    assert "mode: run" not in of[n.ATTRIBUTE_DIP]


def test_scores_of_log_dips_are_what_the_model_of_one_athlete_believes(joint: JointDensity) -> None:
    """The SD of log dips stands in no reading: by it the density changes as its prior does."""
    parameters = point(joint).parameters
    place, own = joint.rows.sd[0], joint.own(0)
    moved = parameters.copy()
    moved[place] += 0.3
    before, after = (joint.densities[0](p[own])[0] for p in (parameters, moved))
    dips = joint.rows.dips[joint.rows.sd == place]

    def log_prior(parameters: Floats) -> float:
        log_sd = parameters[place]
        scores = joint.rows.scores(parameters)[dips]
        of_sd = norm.logpdf(log_sd, *Priors().type_dip_sd)
        return float(of_sd + (norm.logpdf(scores) - log_sd).sum())

    assert after - before == pytest.approx(log_prior(moved) - log_prior(parameters), abs=1e-9)


def test_what_the_group_believes_of_an_athlete_takes_the_place_of_the_prior(
    joint: JointDensity,
) -> None:
    at = point(joint)
    scores = joint.rows.scores(at.parameters)
    for athlete in range(joint.athletes):
        x = at.parameters[joint.own(athlete)]
        believed = joint.believed(athlete, at.group, at.parameters, np.arange(len(x)))
        mine = joint.told & (joint.rows.athlete == athlete)
        b2 = at.group.share[joint.rows.quantity[mine]]
        means = np.sqrt(1 - b2) * at.group.means[joint.rows.mean[mine]]
        expected = norm.logpdf(scores[mine], means, np.sqrt(b2)) - norm.logpdf(scores[mine])
        log, slopes = believed.densities(x[None])
        assert log[0] == pytest.approx((expected + 0.5 * np.log(b2)).sum(), abs=1e-9)
        step = 1e-5 * np.random.default_rng(athlete).standard_normal(len(x))
        up, down = believed.densities(np.array([x + step, x - step]))[0]
        assert (up - down) / 2 == pytest.approx(slopes[0] @ step, rel=1e-5)
        middle = believed.densities(x[None])[0][0]
        bent = -step @ believed.precision @ step
        assert up + down - 2 * middle == pytest.approx(bent, abs=1e-11)


def test_a_group_of_which_nothing_is_known_believes_what_is_believed_of_one(
    joint: JointDensity,
) -> None:
    """All of what is believed of one is between athletes then."""
    at = point(joint)
    unknown = at.group._replace(logits=np.full(len(SHARED), 40.0))
    for athlete in range(joint.athletes):
        x = at.parameters[joint.own(athlete)]
        believed = joint.believed(athlete, unknown, at.parameters, np.arange(len(x)))
        log, slopes = believed.densities(x[None])
        assert log[0] == pytest.approx(0.0, abs=1e-6)
        np.testing.assert_allclose(slopes, 0.0, atol=1e-6)


def test_the_population_is_what_the_athletes_are_drawn_from(joint: JointDensity) -> None:
    group = point(joint).group
    found = joint.population(Group(*(part[None] for part in group)))
    assert found.athletes == 2
    assert found.labels[n.TYPE_LOG_DIP] == ("easy paddle", "row intervals")
    number = [each.name for each in SHARED].index(n.SESSION_SD)
    mean = group.means[joint.shared.index((n.SESSION_SD, None))]
    belief, share = Priors().session_sd, group.share[number]
    expected = belief.mean + belief.sd * np.sqrt(1 - share) * mean
    assert found.means[n.SESSION_SD] == pytest.approx([expected])
    assert found.spreads[n.SESSION_SD] == pytest.approx([belief.sd * np.sqrt(share)])
