"""One season of simulation-based calibration: drawn from the priors, fitted, ranked.

Talts, Betancourt, Simpson, Vehtari & Gelman 2018 (arXiv:1804.06788): where data are drawn
from the model with parameters drawn from the prior, the rank of the true value among the
posterior draws is uniform.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from slackwater.fitting import Athlete
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.sampling.fit import fit
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.ahead import look_ahead
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.priors import LN_2, Belief, Priors
from slackwater.model.season import DAY, Season
from slackwater.model.simulator import Impulse, Simulated, Truth, plan_season, simulate
from tests.studies.asking import learn

NIGHTS = 100
LONG_NIGHTS = 400  # a season of over a year, in which recovery has a trend
THIN = 10
MOST_AGAIN = 2
NIGHTLY = (n.NOISE_SD, n.LINGERING_ODDS, n.PERSISTENCE_ODDS, n.NOISE_TAIL, n.DRIFT_SD, n.SESSION_SD)
PAIRS = (
    (n.PERSISTENCE_ODDS, n.DRIFT_SD),
    (n.LINGERING_ODDS, n.DRIFT_SD),
    (n.PERSISTENCE_ODDS, n.TYPE_RATE_MEAN),
    (n.LINGERING_ODDS, n.TYPE_RATE_MEAN),
    (n.LINGERING_ODDS, n.PERSISTENCE_ODDS),
)
MODES = {"steady row": "row", "row intervals": "row", "hill run": "run"}
MEASURE, STRESSOR = "river dip", "head cold"

Floats = np.ndarray


def rank(seed: int, nights: int = NIGHTS) -> dict[str, Any]:
    """Return the rank, from 0 to 1, of every true value among the draws of one season.

    A fit that slackwater would not answer from is made again with four times the draws, as
    it asks for, since leaving the season out would bias the ranks. Keys: `ranks` by
    quantity, `again`, how often that was so, `told`, what the readings tell of how nights are
    (see `told`), and the fit's `divergences`, `rhat` and `ess`.
    """
    rng = np.random.default_rng([7, seed] if nights == NIGHTS else [7, seed, nights])
    values, truth, whole = drawn_season(rng, nights)
    past = whole.season.through(whole.season.nights[-2])
    posterior, again = _fit(past, seed)
    now = Athlete(past, posterior).now
    draws: dict[str, Floats] = {name: now.parameter(name) for name in values}
    values |= _derived_truth(truth, past, whole)
    ahead = look_ahead(now, 1, [])
    draws["typical_days"] = typical_days(now)
    draws["baseline_today"] = now.baseline
    draws["tomorrow"] = ahead.reading[:, 0]
    checks = posterior.checks
    return {
        "ranks": _ranks(values, draws, rng),
        "again": again,
        "told": told(draws),
        "divergences": checks.divergences,
        "rhat": checks.worst_rhat,
        "ess": min(checks.worst_bulk_ess, checks.worst_tail_ess),
    }


def told(draws: dict[str, Floats]) -> dict[str, float]:
    """Return what a season's readings tell of its nights, and what they cannot keep apart.

    By quantity: the posterior's standard deviation over the prior's, both of the logarithm. By
    pair of quantities: the correlation of the logarithms over the posterior.
    """
    priors = Priors()
    log = {name: np.log(draws[name]) for name in NIGHTLY}
    log[n.TYPE_RATE_MEAN] = draws[n.TYPE_RATE_MEAN]
    narrower = {name: float(log[name].std() / getattr(priors, name).sd) for name in NIGHTLY}
    together = {
        f"{one}, {other}": float(np.corrcoef(log[one], log[other])[0, 1]) for one, other in PAIRS
    }
    return narrower | together


def _fit(season: Season, seed: int) -> tuple[Posterior, int]:
    posterior, _ = learn(season, seed)
    again = 0
    while not posterior.checks.usable and again < MOST_AGAIN:
        again += 1
        posterior = fit(season, seed=seed + 1000 * again, draws=4000, cores=1)
    return posterior, again


def drawn_season(
    rng: np.random.Generator, nights: int
) -> tuple[dict[str, Floats], Truth, Simulated]:
    """Draw a season from the priors; return its parameters by name, its truth, and itself."""
    plan = season_to_draw(rng, nights)
    values, truth = draw_truth(plan, rng)
    return values, truth, _simulated(truth, plan, values, rng)


def season_to_draw(rng: np.random.Generator, nights: int = NIGHTS) -> Season:
    """Return the log of a season whose readings are to be drawn."""
    days = pd.date_range("2031-01-01", periods=nights).to_numpy()
    rows = []
    day = 7
    while day < nights - 2:
        rows.append((days[day], str(rng.choice(list(MODES))), float(rng.choice([0.7, 1.0, 1.3]))))
        day += int(rng.choice([1, 2, 3]))
    weeks = rng.choice(np.arange(1, nights // 7), 6, replace=False)
    acted = [days[7 * week + k] for week in sorted(weeks) for k in range(7)]
    kept = rng.random(nights) > 0.05
    kept[[0, nights // 2, -2, -1]] = True
    sensor = np.where(np.arange(nights) < nights // 2, "clip", "strap")
    return plan_season(
        "drawn",
        pd.DataFrame({"date": days, "sensor": sensor})[kept],
        pd.DataFrame(rows, columns=["date", "type", "dose"]),
        pd.DataFrame({"type": list(MODES), "mode": list(MODES.values())}),
        pd.DataFrame({"date": acted, "intervention": MEASURE}),
        pd.DataFrame({"date": days[[40, 41, 42, 70]], "stressor": STRESSOR}),
    )


def draw_truth(plan: Season, rng: np.random.Generator) -> tuple[dict[str, Floats], Truth]:
    """Draw every parameter from its prior; return them by name, and as a truth."""
    p = Priors()

    def normal(belief: Belief, size: Any = ()) -> Floats:
        return np.asarray(belief.mean + belief.sd * rng.standard_normal(size))

    def positive(belief: Belief) -> Floats:
        return np.asarray(np.exp(normal(belief)))

    design = design_of(plan)
    has = design.type_has_value
    kinds, values = has.shape
    steps = design.trend.shape[1]
    v: dict[str, Floats] = {
        n.NOISE_SD: positive(p.noise_sd),
        n.LINGERING_ODDS: positive(p.lingering_odds),
        n.PERSISTENCE_ODDS: positive(p.persistence_odds),
        n.NOISE_TAIL: positive(p.noise_tail),
        n.DRIFT_SD: positive(p.drift_sd),
        n.SESSION_SD: positive(p.session_sd),
        n.FIRST_NIGHT: positive(p.first_night),
        n.TYPE_DIP_MEAN: normal(p.type_dip),
        n.TYPE_DIP_SD: positive(p.type_dip_sd),
        n.TYPE_RATE_MEAN: normal(p.type_rate),
        n.TYPE_RATE_SD: positive(p.type_rate_sd),
        n.ATTRIBUTE_DIP_SD: positive(p.attribute_dip_sd),
        n.ATTRIBUTE_RATE_SD: positive(p.attribute_rate_sd),
        n.ATTRIBUTE_DIP: np.asarray(rng.standard_normal(values)),
        n.ATTRIBUTE_RATE: np.asarray(rng.standard_normal(values)),
        n.START_DIP: positive(p.start_dip),
        n.START_LOG_RATE: normal(p.start_rate),
        n.STRESSOR_LOG_DIP: normal(p.stressor_dip, 1),
        n.STRESSOR_LOG_RATE: normal(p.stressor_rate, 1),
        n.LOG_RATE_RATIO: normal(p.log_rate_ratio, 1),
        n.LIFT: normal(p.lift, 1),
        n.SENSOR_STEP: normal(p.sensor_step, 1),
        n.WEEKDAY_SD: positive(p.weekday_sd),
        n.WEEKDAY_Z: np.asarray(rng.standard_normal(7)),
    }
    dip_mean = v[n.TYPE_DIP_MEAN] + has @ (v[n.ATTRIBUTE_DIP_SD] * v[n.ATTRIBUTE_DIP])
    rate_mean = v[n.TYPE_RATE_MEAN] + has @ (v[n.ATTRIBUTE_RATE_SD] * v[n.ATTRIBUTE_RATE])
    v[n.TYPE_LOG_DIP] = dip_mean + v[n.TYPE_DIP_SD] * rng.standard_normal(kinds)
    v[n.TYPE_LOG_RATE] = rate_mean + v[n.TYPE_RATE_SD] * rng.standard_normal(kinds)
    truth = _as_truth(v, plan, float(positive(p.baseline)))
    if steps:
        v[n.DIP_TREND_SD], v[n.RATE_TREND_SD] = positive(p.dip_trend_sd), positive(p.rate_trend_sd)
        v[n.DIP_TREND_Z] = np.asarray(rng.standard_normal(steps))
        v[n.RATE_TREND_Z] = np.asarray(rng.standard_normal(steps))
    return v, truth


def _simulated(
    truth: Truth, plan: Season, v: dict[str, Floats], rng: np.random.Generator
) -> Simulated:
    """Draw the season's readings, recovery's trend and all.

    The simulator knows no trend: deeper sessions go in as doses, and a faster night as a
    measure of its own. The season that is returned has the log as it is.
    """
    if n.DIP_TREND_Z not in v:
        return simulate(truth, plan, rng)
    weights = design_of(plan).trend
    deeper = weights @ (v[n.DIP_TREND_SD] * v[n.DIP_TREND_Z])
    faster = weights @ (v[n.RATE_TREND_SD] * v[n.RATE_TREND_Z])
    log = plan.tables()
    dose = log["sessions"]["dose"] * np.exp(deeper[plan.session_nights()])
    nightly = pd.DataFrame(
        {"date": plan.nights - DAY, "intervention": [f"night {k}" for k in range(len(faster))]}
    )
    ratios = dict(zip(nightly["intervention"], np.exp(faster), strict=True))
    seen = log | {
        "sessions": log["sessions"].assign(dose=dose),
        "interventions": pd.concat([log["interventions"], nightly]),
    }
    drawn = simulate(
        replace(truth, rate_ratios={**truth.rate_ratios, **ratios}),
        Season.from_tables("drawn", **seen),
        rng,
    )
    readings = drawn.season.tables()["readings"]
    return drawn._replace(season=Season.from_tables("drawn", **{**log, "readings": readings}))


def _as_truth(v: dict[str, Floats], plan: Season, baseline_ms: float) -> Truth:
    def share(odds: str) -> float:
        return float(v[odds] / (1 + v[odds]))

    def impulse(log_dip: Floats, log_rate: Floats) -> Impulse:
        return Impulse(float(np.exp(log_dip)), LN_2 / float(np.exp(log_rate)))

    types = zip(plan.types, v[n.TYPE_LOG_DIP], v[n.TYPE_LOG_RATE], strict=True)
    return Truth(
        baseline_ms=baseline_ms,
        types={name: impulse(dip, rate) for name, dip, rate in types},
        start=impulse(np.log(v[n.START_DIP]), v[n.START_LOG_RATE]),
        stressors={STRESSOR: impulse(v[n.STRESSOR_LOG_DIP][0], v[n.STRESSOR_LOG_RATE][0])},
        rate_ratios={MEASURE: float(np.exp(v[n.LOG_RATE_RATIO][0]))},
        lifts={MEASURE: float(v[n.LIFT][0])},
        sensor_steps={"clip": float(v[n.SENSOR_STEP][0])},
        week=tuple((v[n.WEEKDAY_SD] * v[n.WEEKDAY_Z]).tolist()),
        noise_sd=float(v[n.NOISE_SD]),
        lingering=share(n.LINGERING_ODDS),
        persistence=share(n.PERSISTENCE_ODDS),
        noise_tail=float(v[n.NOISE_TAIL]),
        drift_sd=float(v[n.DRIFT_SD]),
        session_sd=float(v[n.SESSION_SD]),
        first_night=float(v[n.FIRST_NIGHT]),
    )


def _derived_truth(truth: Truth, past: Season, whole: Simulated) -> dict[str, Floats]:
    days = truth.typical_days()
    return {
        "typical_days": np.array([days[name] for name in past.types]),
        "baseline_today": whole.baseline[-2],
        "tomorrow": whole.season.data[n.LOG_RMSSD].values[-1],
    }


def _ranks(
    values: dict[str, Floats], draws: dict[str, Floats], rng: np.random.Generator
) -> dict[str, float]:
    """Return each true value's rank among thinned draws; ties fall at random."""
    ranks = {}
    for name, value in values.items():
        thinned = draws[name][::THIN].reshape(len(draws[name][::THIN]), -1)
        for column, true in enumerate(np.ravel(value)):
            below = int((thinned[:, column] < true).sum())
            ties = int((thinned[:, column] == true).sum())
            rank = below + int(rng.integers(ties + 1))
            label = name if np.size(value) == 1 else f"{name}[{column}]"
            ranks[label] = (rank + float(rng.random())) / (len(thinned) + 1)
    return ranks
