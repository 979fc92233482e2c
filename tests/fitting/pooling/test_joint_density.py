"""The joint log density: its limit is single athletes, and its gradient is its own."""

from __future__ import annotations

from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_density import JointDensity
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.model import names as n
from slackwater.model.priors import Priors
from tests.model.seasons import season, table

Floats = NDArray[np.float64]

# The second has a type, a measure and attribute values of its own.
OTHER: Final = {
    "sessions": table("sessions").replace({"type": {"heavy lifting": "hill run"}}),
    "types": table("types").replace(
        {"type": {"heavy lifting": "hill run"}, "mode": {"lift": "run"}}
    ),
    "interventions": table("interventions").replace({"intervention": {"beet juice": "long nap"}}),
}


@pytest.fixture(scope="module")
def joint() -> JointDensity:
    seasons = [season().observed(), season(**OTHER).observed()]
    compiled = [compiled_for(each, Priors()) for each in seasons]
    return JointDensity(compiled, seasons, Priors())


def point(joint: JointDensity) -> Floats:
    return joint.start + 0.3 * np.random.default_rng(4).standard_normal(len(joint.start))


def test_what_two_athletes_have_is_shared_and_nothing_else(joint: JointDensity) -> None:
    of = {name: [label for q, label in joint.shared if q == name] for name, _ in joint.shared}
    assert of[n.TYPE_LOG_DIP] == of[n.TYPE_LOG_RATE] == ["easy paddle", "row intervals"]
    assert of[n.LIFT] == ["river dip"]
    assert of[n.STRESSOR_LOG_DIP] == ["head cold"]
    assert "mode: run" not in of[n.ATTRIBUTE_DIP]


def test_a_group_of_which_nothing_is_known_is_so_many_single_athletes(joint: JointDensity) -> None:
    """Log densities are equal where all of what is believed of one is between athletes."""
    at = point(joint)
    means, shares, families = (len(x) for x in (joint.shared, joint.quantities, joint.families))
    at[: means + shares + families] = 0.0
    at[means : means + shares] = 30.0
    assert joint.types is not None
    at[joint.types.share], at[joint.types.both] = Priors().type_dip_sd.mean - np.array([15.0, 0.0])
    share = 1 / (1 + np.exp(-30.0))
    alone = sum(
        code.density()(own)[0] for code, own in zip(joint.codes, joint.athletes(at), strict=True)
    )
    found = joint.density()(at)[0] - shares * np.log(share * (1 - share))
    found += len(joint.types.at) * at[joint.types.share]  # types' means are sampled as they are
    assert found == pytest.approx(alone, abs=1e-6)


def test_the_gradient_is_that_of_finite_differences(joint: JointDensity) -> None:
    density, at = joint.density(), point(joint)
    slopes = density(at)[1]
    differences = []
    for place in range(len(at)):
        step = np.zeros(len(at))
        step[place] = 1e-5
        differences.append((density(at + step)[0] - density(at - step)[0]) / 2e-5)
    np.testing.assert_allclose(slopes, differences, rtol=1e-5, atol=1e-4)


def test_the_group_at_a_point_is_what_the_athletes_are_drawn_from(joint: JointDensity) -> None:
    at = point(joint)
    at[: len(joint.shared)] = 0.0
    apart = joint.population(at[None])
    assert apart.athletes == 2
    assert apart.means[n.SESSION_SD] == pytest.approx([Priors().session_sd.mean])
    assert apart.labels[n.TYPE_LOG_DIP] == ("easy paddle", "row intervals")
    logit = at[len(joint.shared) + joint.quantities.tolist().index(5)]
    share = 1 / (1 + np.exp(-logit))
    assert apart.spreads[n.SESSION_SD] == pytest.approx([Priors().session_sd.sd * np.sqrt(share)])
