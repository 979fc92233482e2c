"""A group of which nothing is known believes what the model believes of any athlete."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, Final

import numpy as np
import pymc as pm
import pytest
from pytensor.compile.mode import Mode
from scipy.stats import norm

from slackwater.model import names as n
from slackwater.model.population import BY_NAME, SHARED, Population, own_share, prior_of
from slackwater.model.priors import Belief, GroupPriors, LabelBelief, Priors
from slackwater.model.recovery import build_model, put_season
from tests.model.seasons import season

UNKNOWN: Final = Population.unknown(draws=20_000)
QUICK: Final = Mode(linker="py", optimizer=None)


def density(model: pm.Model, moved: float = 0.1) -> tuple[dict[str, Any], float]:
    """Return a point, and the model's log density there."""
    rng = np.random.default_rng(7)
    point = {
        name: value + moved * rng.standard_normal(np.shape(value))
        for name, value in sorted(model.initial_point().items())
    }
    return point, float(model.compile_logp(mode=QUICK)(point))


def test_what_is_believed_of_an_unknown_group_is_todays_priors() -> None:
    believed = UNKNOWN.priors()
    assert believed.labels == ()
    for field in fields(Priors):
        assert getattr(believed, field.name) == getattr(Priors(), field.name)


@pytest.mark.parametrize("name", [each.name for each in SHARED])
def test_an_athlete_of_an_unknown_group_is_as_any_single_one(name: str) -> None:
    """Mean and SD within five standard errors of the prior's."""
    drawn = UNKNOWN.another(name, np.random.default_rng(1), "new" if BY_NAME[name].dim else None)
    mean, sd = prior_of(BY_NAME[name])
    if BY_NAME[name].family:  # a scale mixture: E[scale^2] of a log-normal
        belief = getattr(Priors(), BY_NAME[name].prior)
        sd = float(np.exp(belief.mean + belief.sd**2))
    root = np.sqrt(len(drawn))
    kurtosis = 1 + 4 * BY_NAME[name].family
    assert abs(drawn.mean() - mean) < 5 * sd / root
    assert abs(drawn.std() / sd - 1) < 5 * np.sqrt(kurtosis / 2) / root


def test_the_model_under_an_unknown_group_is_the_model_of_one_athlete() -> None:
    alone, of_group = (build_model(season(), p) for p in (Priors(), UNKNOWN.priors()))
    point, expected = density(alone)
    z = point.pop(n.TYPE_RATE_Z)  # the group's model has the rates themselves instead
    sd = np.exp(point["type_rate_sd_log__"])
    has = of_group["type_has_value"].get_value()
    effect = np.exp(point["attribute_rate_sd_log__"]) * (has @ point[n.ATTRIBUTE_RATE])
    point[n.TYPE_LOG_RATE] = point[n.TYPE_RATE_MEAN] + effect + sd * z
    found = float(of_group.compile_logp(mode=QUICK)(point))
    assert found == pytest.approx(expected - len(z) * np.log(sd), abs=1e-6)


def test_labels_that_a_group_knows_have_beliefs_of_their_own() -> None:
    known = (
        LabelBelief(n.TYPE_LOG_DIP, "row intervals", Belief(0.4, 0.2)),
        LabelBelief(n.LIFT, "river dip", Belief(0.03, 0.02)),
        LabelBelief(n.ATTRIBUTE_DIP, "effort: hard", Belief(0.7, 0.5)),
    )
    plain = build_model(season(), GroupPriors())
    point, before = density(plain)
    model = build_model(season(), GroupPriors(labels=known))
    found = float(model.compile_logp(mode=QUICK)(point)) - before

    at = {dim: [str(label) for label in labels] for dim, labels in model.coords.items() if labels}
    lift = point[n.LIFT][at[n.INTERVENTION].index("river dip")]
    effects = point[n.ATTRIBUTE_DIP]
    effect = effects[at[n.ATTRIBUTE_VALUE].index("effort: hard")]
    place = at[n.TYPE].index("row intervals")
    has = model["type_has_value"].get_value()[place]
    middle = point[n.TYPE_DIP_MEAN] + np.exp(point["attribute_dip_sd_log__"]) * (has @ effects)
    dip, sd = point[n.TYPE_LOG_DIP][place], np.exp(point["type_dip_sd_log__"])
    assert found == pytest.approx(
        norm.logpdf(lift, 0.03, 0.02)
        - norm.logpdf(lift, *Priors().lift)
        + norm.logpdf(effect, 0.7, 0.5)
        - norm.logpdf(effect)
        + norm.logpdf(dip, middle + 0.4, 0.2)
        - norm.logpdf(dip, middle, sd),
        abs=1e-8,
    )
    put_season(plain, season(), GroupPriors(labels=known))
    again = float(plain.compile_logp(mode=QUICK)(point)) - before
    assert again == pytest.approx(found, abs=1e-8)


def test_types_that_a_group_knows_are_believed_as_it_predicts_them() -> None:
    """What it says of dips of all types together, and of each, adds up to its own prediction."""
    rng = np.random.default_rng(3)
    together = 0.4 * rng.standard_normal(20_000)  # known of the types, not of their mean
    means = dict(UNKNOWN.means)
    means[n.TYPE_DIP_MEAN] = -2.0 + together
    means[n.TYPE_LOG_DIP] = np.array([0.3, -0.3]) - together[:, None]
    labels = {**UNKNOWN.labels, n.TYPE_LOG_DIP: ("run", "row")}
    spreads = {**UNKNOWN.spreads} | {n.TYPE_DIP_MEAN: np.full(20_000, 0.2)}
    spreads[n.TYPE_LOG_DIP] = np.full(20_000, 0.1)
    known = replace(UNKNOWN, athletes=9, labels=labels, means=means, spreads=spreads)
    believed = known.priors()
    run = believed.of(n.TYPE_LOG_DIP, "run")
    assert run is not None
    assert believed.type_dip.mean + run.mean == pytest.approx(-1.7, abs=0.01)
    assert np.hypot(believed.type_dip.sd, run.sd) == pytest.approx(np.hypot(0.2, 0.1), abs=0.01)
    assert believed.type_dip.sd == pytest.approx(0.2, abs=0.01)
    assert believed.of(n.TYPE_LOG_DIP, "swim") is None


def test_a_population_that_is_not_whole_is_refused() -> None:
    spreads = {**UNKNOWN.spreads} | {n.NOISE_SD: -UNKNOWN.spreads[n.NOISE_SD]}
    with pytest.raises(ValueError, match="spread that is not above 0"):
        replace(UNKNOWN, spreads=spreads)
    with pytest.raises(ValueError, match="'first_night' is missing"):
        replace(UNKNOWN, means={k: v for k, v in UNKNOWN.means.items() if k != n.FIRST_NIGHT})


def test_an_athletes_own_share_is_what_their_readings_narrowed() -> None:
    rng = np.random.default_rng(2)
    group = UNKNOWN.days_of_another("hill run", rng)
    another = np.log(UNKNOWN.days_of_another("hill run", rng))
    assert own_share(np.log(group), another) == pytest.approx(0.0, abs=0.05)
    half = np.exp(np.log(group).mean() + 0.5 * (np.log(group) - np.log(group).mean()))
    assert own_share(np.log(half), another) == pytest.approx(0.75, abs=0.03)
    assert own_share(np.log(np.full(10, 2.0)), another) == 1.0


def test_what_a_group_knows_of_a_measure_stands_in_for_what_is_believed_of_any() -> None:
    known = LabelBelief("log_rate_ratio", "river dip", Belief(0.1, 0.2))
    priors = GroupPriors(labels=(known, known._replace(quantity="lift")))
    assert priors.log_rate_ratio_of("river dip") == priors.lift_of("river dip") == (0.1, 0.2)
    assert priors.log_rate_ratio_of("beet juice") == Priors().log_rate_ratio
    assert Priors().lift_of("river dip") == Priors().lift
