"""Two athletes who share some of what they have, their group, and a point of it all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.sampling.brief import compiled_for
from slackwater.model.population import SHARED
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


@dataclass(frozen=True)
class Point:
    """A group, and athletes' parameters, of which it has given them its families' SDs."""

    group: Group
    parameters: Floats


def joined() -> JointDensity:
    """Return the two athletes and their group."""
    seasons = [season().observed(), season(**OTHER).observed()]
    return JointDensity([compiled_for(each, Priors()) for each in seasons], seasons, Priors())


def point(joint: JointDensity, seed: int = 4) -> Point:
    """Return a point drawn about where there is some density."""
    rng = np.random.default_rng(seed)
    sizes = len(joint.shared), len(SHARED), len(joint.families)
    group = Group(*(0.5 * rng.standard_normal(size) for size in sizes))
    parameters = 0.2 * rng.standard_normal(joint.starts[-1]) - 1.0
    parameters[joint.family_at] = joint.log_sds(group.families)[joint.family_of]
    return Point(group, parameters)
