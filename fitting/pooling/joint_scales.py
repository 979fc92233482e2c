"""SDs of what athletes have many of, given these: drawn without a reading.

Scatter is an SD that stands in the readings as the product with each session's standard score
alone, and so do tails with each night's and the rhythm with each weekday's. Given the products the
SD is drawn by itself, and the scores change with it. Paths move both along and keep the scores
instead: the one is quick where readings tell the products, the other where they do not (Yu & Meng
2011, as in `joint_chain`).
"""

from __future__ import annotations

from math import exp
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.pooling.joint_density import Group, JointDensity
from slackwater.fitting.pooling.joint_places import NAMES
from slackwater.fitting.pooling.slices import draw_one
from slackwater.model import names as n

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCORES: Final = {
    n.SESSION_SD: (n.SESSION_Z, n.STRESSOR_Z),
    n.NOISE_TAIL: (n.NIGHT_SCALE,),
    n.WEEKDAY_SD: (n.WEEKDAY_Z,),
}


class _Scale(NamedTuple):
    """One athlete's SD.

    Attributes:
        row: which of the joint rows it is.
        scores: places of the standard scores over it.
    """

    row: int
    scores: Ints


class Scales:
    """Draws athletes' SDs given what they are the SDs of."""

    def __init__(self, joint: JointDensity, rng: np.random.Generator) -> None:
        """Take athletes and their group, and a source of randomness."""
        self.joint, self.rng = joint, rng
        rows = joint.rows
        self.every = [
            _Scale(row, np.concatenate([at[name] for name in SCORES[quantity] if name in at]))
            for row, (athlete, number) in enumerate(zip(rows.athlete, rows.quantity, strict=True))
            if (quantity := NAMES[number]) in SCORES
            for at in [joint.places[athlete]]
        ]

    def draw(self, group: Group, parameters: Floats) -> None:
        """Draw every SD anew, in place, with the scores that leave products as they are."""
        share = group.share
        for each in self.every:
            self._draw(each, group, share, parameters)

    def _draw(self, each: _Scale, group: Group, share: Floats, parameters: Floats) -> None:
        rows, row, at = self.joint.rows, each.row, self.joint.rows.at[each.row]
        b2 = float(share[rows.quantity[row]])
        middle = np.sqrt(1 - b2) * float(group.means[rows.mean[row]])
        centre, scale = float(rows.centre[row]), float(rows.scale[row])
        z, before = parameters[each.scores], float(parameters[at])
        squares, count = float(z @ z), len(z)

        def log_density(x: float) -> float:
            apart = (x - centre) / scale - middle
            return float(-count * x - 0.5 * squares * exp(2 * (before - x)) - 0.5 * apart**2 / b2)

        parameters[at] = after = draw_one(log_density, before, self.rng)
        parameters[each.scores] = exp(before - after) * z
