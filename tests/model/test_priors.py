"""What the priors allow, held against what has been published.

All chances are over the prior alone, so the bounds are loose on purpose: a prior must allow
what has been seen, and must not insist on it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
import pymc as pm
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from scipy.stats import norm

from slackwater.model import names as n
from slackwater.model.dynamics import days_to_recover
from slackwater.model.priors import Belief, Priors
from slackwater.model.recovery import build_model
from tests.model.seasons import season

Floats = NDArray[np.float64]

PRIORS: Final = Priors()
DRAWS: Final = 100_000  # a chance near 0.1 is off by 0.001 or so


class Sessions(NamedTuple):
    """One session of one new type in each draw: its dip and its days to recover."""

    dip: Floats
    days: Floats


@pytest.fixture(scope="module", params=[0, 2], ids=["no attributes", "two attributes"])
def sessions(request: pytest.FixtureRequest) -> Sessions:
    rng = np.random.default_rng(sum(map(ord, "priors")))

    def normal(belief: Belief) -> Floats:
        return belief.mean + belief.sd * rng.standard_normal(DRAWS)

    def scattered(*scales: Belief) -> Floats:
        draws = [np.exp(normal(scale)) * rng.standard_normal(DRAWS) for scale in scales]
        return np.asarray(np.sum(draws, axis=0))

    of = PRIORS
    log_dip = normal(of.type_dip) + scattered(of.type_dip_sd, of.session_sd)
    log_rate = normal(of.type_rate) + scattered(of.type_rate_sd)
    for _ in range(request.param):
        log_dip += scattered(of.attribute_dip_sd)
        log_rate += scattered(of.attribute_rate_sd)
    threshold = 0.5 * np.exp(normal(of.noise_sd))
    return Sessions(np.exp(log_dip), days_to_recover(np.exp(log_dip), threshold, np.exp(log_rate)))


def test_each_published_recovery_time_is_well_inside(sessions: Sessions) -> None:
    """Stanley, Peake & Buchheit 2013, Sports Med 43(12):1259-1277, abstract.

    "Up to 24 h following low-intensity, 24-48 h following threshold-intensity and at least 48 h
    following high-intensity": each has a tenth of the prior at the least.
    """
    days = sessions.days
    assert np.mean(days <= 1) > 0.1
    assert np.mean((days > 1) & (days <= 2)) > 0.1
    assert np.mean(days > 2) > 0.1
    assert np.mean((days > 2) & (days <= 4)) > 0.1
    assert np.mean(days > 14) < 0.02


def test_a_single_dip_can_halve_the_rmssd(sessions: Sessions) -> None:
    """Up to half (common practice, no source): rare, not excluded.

    Means of ten men fell by 0.34 ln after maximal-strength loading and by 1.01 after hypertrophy
    loading, at once rather than by the next night (Thamm et al. 2019, IJERPH 16:4353).
    """
    assert 0.01 < np.mean(sessions.dip > np.log(2)) < 0.1
    assert np.mean(sessions.dip > 0.34) > 0.05
    assert np.mean(sessions.dip > 1.011) > 0.002
    assert np.quantile(sessions.dip, 0.5) == pytest.approx(0.15, rel=0.02)


def interval(belief: Belief, mass: float) -> Floats:
    """Equal-tailed interval of a prior on its own scale."""
    return np.asarray(norm.interval(mass, belief.mean, belief.sd))


def test_baseline_covers_the_norms() -> None:
    """Nunan, Sandercock & Brodie 2010, PACE 33(11):1407-1417: mean RMSSD 42 ms, 19 to 75.

    As quoted in secondary texts. PhysioNet's nsr2db over 24 h, 54 people: 13.8 to 50.9 ms.
    """
    low, high = np.exp(interval(PRIORS.baseline, 0.95))
    assert low < 19
    assert high > 75
    assert (low, high) == pytest.approx((15, 160), rel=0.02)  # as documented
    assert np.exp(interval(PRIORS.baseline, 0.99)[0]) < 13.8


def test_noise_spans_what_is_seen_between_nights() -> None:
    """0.12: Buchheit 2014, Front Physiol 5:73, Table 1, typical error of resting ln RMSSD."""
    low, high = np.exp(interval(PRIORS.noise_sd, 0.99))
    assert low < 0.1
    assert high > 0.35
    low, high = np.exp(interval(PRIORS.noise_sd, 0.5))
    assert low < 0.12 < high


def test_noise_covers_repeated_readings_of_thirteen_people(
    open_data: Callable[[str], Path],
) -> None:
    """At rest, three sessions each: data of the R package mmReliability (Akerman 2020)."""
    table = pd.read_csv(open_data("mmReliability_hrv.csv"))
    rest = table[table["Level"] == 1].dropna(subset=["RMSSD"])
    by_person = np.log(rest["RMSSD"]).groupby(rest["Subject"])
    complete = by_person.count() == 3
    within = np.sqrt(by_person.var()[complete].mean())
    assert complete.sum() == 13
    assert within == pytest.approx(0.2967, abs=5e-5)
    low, high = np.exp(interval(PRIORS.noise_sd, 0.95))
    assert low < within < high
    means = by_person.mean()[complete]
    assert means.mean() == pytest.approx(4.3524, abs=5e-5)
    # One of them, at 210 ms, lies beyond the 95 % that the prior puts up to 160 ms.
    low, high = interval(PRIORS.baseline, 0.99)
    assert np.all((low < means) & (means < high))


def test_what_the_priors_say_of_themselves() -> None:
    """The worked figures in their documentation."""
    half_year = np.exp(PRIORS.drift_sd.mean) * np.sqrt(182)
    assert half_year == pytest.approx(0.11, abs=0.005)
    one_in_20 = np.exp(np.exp(PRIORS.noise_tail.mean) * norm.ppf(0.95) / 2)
    assert one_in_20 == pytest.approx(1.5, abs=0.05)
    dip, threshold = np.exp(PRIORS.type_dip.mean), 0.5 * np.exp(PRIORS.noise_sd.mean)
    assert 1 - np.exp(-dip) == pytest.approx(0.14, abs=0.005)
    assert threshold == pytest.approx(0.06)
    days = days_to_recover(
        np.asarray(dip), np.asarray(threshold), np.asarray(np.exp(PRIORS.type_rate.mean))
    )
    assert 2 < days < 3
    assert np.exp(PRIORS.type_dip_sd.mean) == pytest.approx(np.log(1.6), abs=0.05)


DIMS: Final = {
    n.NOISE_SD: (),
    n.LINGERING_ODDS: (),
    n.PERSISTENCE_ODDS: (),
    n.NOISE_TAIL: (),
    n.NIGHT_SCALE: (n.READING,),
    n.DRIFT_SD: (),
    n.SESSION_SD: (),
    n.FIRST_NIGHT: (),
    n.TYPE_DIP_MEAN: (),
    n.TYPE_DIP_SD: (),
    n.TYPE_LOG_DIP: (n.TYPE,),
    n.TYPE_RATE_MEAN: (),
    n.TYPE_RATE_SD: (),
    n.TYPE_RATE_Z: (n.TYPE,),
    n.TYPE_LOG_RATE: (n.TYPE,),
    n.ATTRIBUTE_DIP_SD: (),
    n.ATTRIBUTE_DIP: (n.ATTRIBUTE_VALUE,),
    n.ATTRIBUTE_RATE_SD: (),
    n.ATTRIBUTE_RATE: (n.ATTRIBUTE_VALUE,),
    n.SESSION_Z: (n.SESSION,),
    n.START_DIP: (),
    n.START_LOG_RATE: (),
    n.STRESSOR_LOG_DIP: (n.STRESSOR,),
    n.STRESSOR_LOG_RATE: (n.STRESSOR,),
    n.STRESSOR_Z: (n.STRESSOR_DAY,),
    n.LOG_RATE_RATIO: (n.INTERVENTION,),
    n.LIFT: (n.INTERVENTION,),
    n.SENSOR_STEP: (n.OTHER_SENSOR,),
    n.WEEKDAY_SD: (),
    n.WEEKDAY_Z: (n.WEEKDAY,),
}


def test_the_prior_predictive_has_names_and_plausible_readings() -> None:
    spring = season()
    drawn = pm.sample_prior_predictive(
        200,
        build_model(spring),
        random_seed=sum(map(ord, "predictive")),
        compile_kwargs={"mode": Mode(linker="py", optimizer="fast_compile")},
    )
    prior = drawn.prior
    assert {str(k): v.dims[2:] for k, v in prior.items()} == DIMS
    assert prior[n.TYPE].to_numpy().tolist() == spring.types
    assert prior[n.INTERVENTION].to_numpy().tolist() == spring.interventions
    assert prior[n.OTHER_SENSOR].to_numpy().tolist() == ["finger clip"]
    readings = drawn.prior_predictive[n.LOG_RMSSD]
    assert readings.dims[2:] == (n.READING,)
    assert readings[n.READING].to_numpy().tolist() == [
        str(night) for night in spring.nights[spring.read]
    ]
    # 5 to 400 ms: what a good sensor shows at night (common practice, no source).
    assert np.mean((readings > np.log(5)) & (readings < np.log(400))) > 0.98
