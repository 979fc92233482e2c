"""Groups pooled from what each member's data say, against published values."""

from __future__ import annotations

from typing import Final

import numpy as np
import pytest
from arviz_stats.base import array_stats
from numpy.typing import NDArray

from slackwater.fitting.pooling.sites import ABSENT, Layout
from slackwater.fitting.pooling.together import Drawn, draw_together
from slackwater.model import names as n
from slackwater.model.population import SHARED
from slackwater.model.priors import Belief, Priors
from tests.oracles.pooling import solve

Floats = NDArray[np.float64]

# Rubin 1981, J Educ Stat 6:377-401.
EFFECTS: Final = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERRORS: Final = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])
# Belenky et al. 2003, J Sleep Res 12:1-12, by least squares for each subject: the reaction time
# on day 0 and what each day of lost sleep adds to it, ms.
SUBJECTS: Final = np.array(
    [
        [244.193, 21.765], [205.055, 2.262], [203.484, 6.115], [289.685, 3.008],
        [285.739, 5.266], [264.252, 9.567], [275.019, 9.142], [240.163, 12.253],
        [263.035, -2.881], [290.104, 19.026], [215.112, 13.494], [225.835, 19.504],
        [261.147, 6.433], [276.372, 13.567], [254.968, 11.348], [210.449, 18.056],
        [253.636, 9.188], [267.045, 11.298],
    ]
)  # fmt: skip


def group_of(count: int, quantities: list[str]) -> Layout:
    """Return the layout of a group that has these quantities alone."""
    names = [each.name for each in SHARED]
    starts = np.concatenate([[0], np.cumsum([name in quantities for name in names])])
    index = np.tile(np.arange(len(quantities)), (count, 1))
    assert ABSENT not in index
    shared = tuple((name, None) for name in names if name in quantities)
    return Layout(shared, starts, index, ())


def column(drawn: Drawn, name: str) -> tuple[Floats, Floats]:
    """Return draws of a quantity's mean and spread."""
    names = [each.name for each in SHARED]
    place = [names.index(q) for q in (n.NOISE_SD, n.DRIFT_SD)].index(names.index(name))
    of = names.index(name)
    spread = drawn.scales[:, of] * np.sqrt(drawn.shares[:, of])
    return drawn.means[:, min(place, drawn.means.shape[1] - 1)], spread


def test_eight_schools() -> None:
    """Against quadrature, which has the published posterior under its prior (`test_hierarchy`)."""
    s = 20.0

    def rest(sd: Floats) -> Floats:
        return np.sqrt(np.maximum(s**2 - sd**2, 1e-9))

    def log_prior(sd: Floats) -> Floats:
        return np.where(sd < s, np.log(sd) - np.log(rest(sd)), -np.inf)

    solved = solve(EFFECTS, ERRORS, rest, log_prior)
    drawn = draw_together(
        group_of(8, [n.NOISE_SD]),
        (1 / ERRORS**2)[:, None, None],
        (EFFECTS / ERRORS**2)[:, None],
        Priors(noise_sd=Belief(0.0, s)),
        np.random.default_rng(8),
        (200, 4000, 1),
    )
    for values, (mean, sd) in zip(column(drawn, n.NOISE_SD), (solved.mean, solved.sd), strict=True):
        assert abs(values.mean() - mean) < 5 * error(values, "mean")
        assert abs(values.std() - sd) < 5 * error(values, "sd")


def error(values: Floats, of: str) -> float:
    """Monte Carlo standard error of draws."""
    return float(array_stats.mcse(values[None], chain_axis=0, draw_axis=1, method=of))


def test_sleep_study() -> None:
    """Means and spreads of 18 subjects, beside lme4's (Bates et al. 2015, J Stat Soft 67(1)).

    251.405 (6.825) and 10.467 (1.546); SD 25.05 and 5.99 without their correlation (variances
    627.57 and 35.86), residual variance 653.58. A REML estimate is near the middle of a posterior
    under a wide prior, by half of its SD or better.
    """
    days = np.arange(10.0)
    design = np.column_stack([np.ones(10), days])
    information = design.T @ design / 653.58
    order = [1, 0] if names_in_order()[0] == n.DRIFT_SD else [0, 1]
    drawn = draw_together(
        group_of(18, [n.NOISE_SD, n.DRIFT_SD]),
        np.tile(information[np.ix_(order, order)], (18, 1, 1)),
        (SUBJECTS @ information)[:, order],
        Priors(noise_sd=Belief(250.0, 100.0), drift_sd=Belief(10.0, 20.0)),
        np.random.default_rng(18),
        (200, 2000, 1),
    )
    for name, mean, error, sd in (
        (n.NOISE_SD, 251.405, 6.825, 25.05),
        (n.DRIFT_SD, 10.467, 1.546, 5.99),
    ):
        means, spreads = column(drawn, name)
        assert abs(means.mean() - mean) < 0.25 * error
        assert means.std() == pytest.approx(error, rel=0.2)
        assert abs(np.median(spreads) - sd) < 0.5 * spreads.std()


def names_in_order() -> list[str]:
    return [each.name for each in SHARED if each.name in (n.NOISE_SD, n.DRIFT_SD)]
