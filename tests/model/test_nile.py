"""The level of the Nile: the likelihood and the filter against published values.

Data: annual flow at Aswan, 1871 to 1970, 100 values, as in statsmodels.datasets.nile.

Source: Durbin & Koopman, Time Series Analysis by State Space Methods (2nd ed. 2012), chapter 2:
estimates 15099 and 1469.1, and the two gaps of section 2.7. Values with more digits than they
print were computed with statsmodels 0.15.0 and a filter written apart from this one, which agree,
in November 2026.

A level of which nothing is known beforehand is written two ways. "First reading": the filter
starts from the first reading, so that 99 densities count. "Diffuse": the start variance goes to
infinity, and its logarithm is taken out of the log-likelihood (Durbin & Koopman, section 7.2).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize

from slackwater.model.levels import Filtered, Motion, State, Steps, filter_levels, sample_levels
from slackwater.model.likelihood import LikelihoodInputs
from tests.model.random_inputs import Evaluated, evaluate

Floats = NDArray[np.float64]

NOISE: Final = 15099.0
DRIFT: Final = 1469.1
DRAWS: Final = 20_000


@pytest.fixture(scope="module")
def flow() -> Floats:
    from statsmodels.datasets import nile

    values: Floats = nile.load_pandas().data["volume"].to_numpy(float)
    assert values.shape == (100,)
    assert [*values[[0, -1]], values.sum()] == [1120, 740, 91935]
    return values


@pytest.fixture(scope="module")
def gappy(flow: Floats) -> Floats:
    """Section 2.7: the 21st to 40th and the 61st to 80th are deleted."""
    values = flow.copy()
    values[20:40] = values[60:80] = np.nan
    return values


def no_sessions(
    flow: Floats, noise: float, drift: float, start_mean: float, start_variance: float
) -> LikelihoodInputs:
    read = np.flatnonzero(np.isfinite(flow))
    return LikelihoodInputs(
        readings=flow[read],
        reading_nights=read,
        event_nights=np.array([], int),
        event_groups=np.array([], int),
        new_level=np.zeros(len(flow)),
        carried=np.zeros(len(flow)),
        jump=np.zeros(len(flow)),
        event_dips=np.array([]),
        rates=np.array([]),
        speed=np.ones(len(flow)),
        shift=np.zeros(len(read)),
        noise_variance=np.full(len(read), noise),
        drift_variance=np.asarray(drift),
        transient_variance=np.asarray(0.0),
        persistence=np.asarray(0.5),
        start_mean=np.asarray(start_mean),
        start_variance=np.asarray(start_variance),
    )


def from_first_reading(flow: Floats, noise: float, drift: float) -> Evaluated:
    """Once the first is read, the level lies around it with the noise's variance."""
    return evaluate(no_sessions(flow[1:], noise, drift, flow[0], noise + drift))


def test_log_likelihood_from_the_first_reading(flow: Floats) -> None:
    assert from_first_reading(flow, NOISE, DRIFT).value == pytest.approx(-632.545625, abs=5e-7)


def test_diffuse_log_likelihood(flow: Floats) -> None:
    """Around the first reading, a start variance of 1e11 is within 1e-7 of the limit."""
    value = evaluate(no_sessions(flow, NOISE, DRIFT, flow[0], 1e11)).value
    assert value + 0.5 * np.log(1e11) == pytest.approx(-633.464564, abs=5e-7)


def test_log_likelihood_from_a_vague_start(flow: Floats) -> None:
    """Mean 0 and variance 1e7, nothing taken out, as R's dlm and FKF do it."""
    value = evaluate(no_sessions(flow, NOISE, DRIFT, 0.0, 1e7)).value
    assert value == pytest.approx(-641.585578, abs=5e-7)


def test_log_likelihood_with_two_gaps(gappy: Floats) -> None:
    assert from_first_reading(gappy, NOISE, DRIFT).value == pytest.approx(-380.587063, abs=5e-7)


@pytest.mark.parametrize("start", [(5.0, 5.0), (10.0, 6.0), (8.0, 10.0)])
def test_it_peaks_at_the_published_estimates(flow: Floats, start: tuple[float, float]) -> None:
    """The published pair is rounded: q = exp(-2.33) = 0.0973, and 0.0973 * 15099 = 1469.1.

    R 4.2.2's StructTS stops at 15098.577 and 1469.147; a Nelder-Mead search of statsmodels'
    exact diffuse likelihood, on to 13 digits of it, ends at 15098.518 and 1469.1765.
    """

    def minus(logs: Floats) -> tuple[float, Floats]:
        noise, drift = np.exp(logs)
        value, by = from_first_reading(flow, noise, drift)
        by_start = by["start_variance"]  # which is the sum of the two
        by_noise = by["noise_variance"].sum() + by_start
        by_drift = by["drift_variance"] + by_start
        return -value, -np.array([by_noise * noise, by_drift * drift])

    found = minimize(minus, start, jac=True, method="BFGS", options={"gtol": 1e-7})
    noise, drift = np.exp(found.x)
    assert (noise, drift) == pytest.approx((15099, 1469.1), rel=1e-4)
    assert round(np.log(drift / noise), 2) == -2.33
    assert (noise, drift) == pytest.approx((15098.518, 1469.1765), rel=1e-6)
    assert -found.fun == pytest.approx(-632.545625, abs=5e-7)


class Run(NamedTuple):
    """A filter's run from the first reading on, for as many equal draws as asked for."""

    levels: Floats
    noise: Floats
    motion: Motion
    steps: Steps
    start: State

    @property
    def filtered(self) -> Filtered:
        return filter_levels(self.levels, self.noise, self.motion, self.steps, self.start)


def run(flow: Floats, draws: int = 1) -> Run:
    """Once the first is read, the level lies around it with the noise's variance."""
    one = np.ones(draws)
    mean, covariance = np.zeros((2, draws)), np.zeros((2, 2, draws))
    mean[0], covariance[0, 0] = flow[0], NOISE + DRIFT
    return Run(
        np.tile(flow[1:], (draws, 1)),
        np.full((draws, len(flow) - 1), NOISE),
        Motion(DRIFT * one, 0 * one, 0.5 * one),
        Steps(*np.zeros((3, len(flow) - 1))),
        State(mean, covariance),
    )


def test_filter_at_the_end(flow: Floats) -> None:
    filtered = run(flow).filtered
    assert filtered.last.mean[0, 0] == pytest.approx(798.370, abs=5e-4)
    assert filtered.last.covariance[0, 0, 0] == pytest.approx(4032.158, abs=5e-4)
    assert filtered.log_density.sum() == pytest.approx(-632.545625, abs=5e-7)


def test_filter_settles_where_the_closed_form_says(flow: Floats) -> None:
    """The steady state solves P = P * noise / (P + noise) + drift (section 2.11)."""
    filtered = run(flow).filtered
    q = DRIFT / NOISE
    predicted = NOISE * (q + np.sqrt(q * q + 4 * q)) / 2
    assert predicted == pytest.approx(5501.2579, abs=5e-5)
    assert filtered.variance[0, -1] == pytest.approx(predicted, rel=1e-9)
    assert filtered.gain[-1, 0, 0] == pytest.approx(0.2670480, abs=5e-8)


def test_filter_in_a_gap(gappy: Floats) -> None:
    """Before each reading the variance is larger by a year's drift than after the last."""
    variance = run(gappy).filtered.variance[0]  # its first element is of the second year
    assert variance[[19, 37, 38]] == pytest.approx(
        [4032.196 + DRIFT, 31945.096, 33414.196], abs=5e-4
    )
    np.testing.assert_allclose(np.diff(variance[19:39]), DRIFT, rtol=1e-9)
    assert variance[40] - DRIFT == pytest.approx(10537.789, abs=5e-4)


def test_forecast(flow: Floats) -> None:
    """Years to come are years not read: the level stays, its variance grows."""
    ahead = run(np.r_[flow, np.nan, np.nan, np.nan]).filtered
    assert ahead.expected[0, 99:] == pytest.approx(798.370, abs=5e-4)
    sd = np.sqrt(ahead.variance[0, 99:] + NOISE)
    assert sd == pytest.approx([143.527, 148.56, 153.42], abs=5e-3)


def test_sampled_levels_have_the_smoothed_mean_and_variance(gappy: Floats) -> None:
    """1900, in the midst of a gap: 903.421 with variance 9715.005. Five standard errors."""
    rng = np.random.default_rng(sum(map(ord, "nile")))
    of = run(gappy, DRAWS)
    level = sample_levels(of.filtered, *of, rng)[0, :, 28]
    assert abs(level.mean() - 903.421) < 5 * np.sqrt(9715.005 / DRAWS)
    assert abs(level.var() - 9715.005) < 5 * 9715.005 * np.sqrt(2 / DRAWS)
