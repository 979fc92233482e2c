"""Athletes pooled from their draws, where the answer is known by quadrature."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from slackwater.fitting.pooling.alone import MOST, Alone, kept_of_each
from slackwater.fitting.pooling.pool import OfGroup, Pooled, pool
from slackwater.model import names as n
from slackwater.model.errors import QuestionError
from slackwater.model.population import SHARED
from slackwater.model.priors import Belief, LabelBelief, Priors
from tests.oracles.pooling import Moments, solve

Floats = NDArray[np.float64]

DRAWS: Final = 1000
SD: Final = 0.5  # of what is believed of one athlete
TRUE: Final = np.array([-0.3, -0.1, 0.0, 0.1, 0.2, 0.5])
ERRORS: Final = np.array([0.1, 0.3, 0.05, 0.2, 0.6, 0.1])  # the fifth has hardly been read
SCALARS: Final = (n.NOISE_SD, n.LINGERING_ODDS, n.PERSISTENCE_ODDS, n.NOISE_TAIL, n.DRIFT_SD)


def alone(place: int, priors: Priors, **changes: object) -> Alone:
    """Return an athlete of whose noise the readings say `TRUE`, give or take `ERRORS`."""
    rng = np.random.default_rng([place, 5])
    values = []
    for name in SCALARS:
        prior = getattr(priors, name)
        variance = 1 / (prior.sd**-2 + (name == n.NOISE_SD) / ERRORS[place] ** 2)
        told = TRUE[place] / ERRORS[place] ** 2 if name == n.NOISE_SD else 0.0
        mean = variance * (told + prior.mean / prior.sd**2)
        drawn = rng.standard_normal(DRAWS)
        drawn = (drawn - drawn.mean()) / drawn.std()
        values.append(mean + np.sqrt(variance) * drawn)
    found = Alone(
        labels={each.name: () for each in SHARED if each.dim},
        values=np.stack(values, axis=1),
        columns=tuple((name, None) for name in SCALARS),
        type_has_value=np.zeros((0, 0)),
        rows=np.arange(DRAWS),
        priors=priors,
    )
    return replace(found, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def solved() -> Moments:
    def rest(sd: Floats) -> Floats:
        return np.sqrt(np.maximum(SD**2 - sd**2, 1e-9))

    def log_prior(sd: Floats) -> Floats:
        return np.where(sd < SD, np.log(sd) - np.log(rest(sd)), -np.inf)

    return solve(TRUE, ERRORS, rest, log_prior)


PRIORS: Final = replace(Priors(), noise_sd=Belief(0.0, SD))
# As if each had been fitted again under what another group knows.
AGAIN: Final = replace(PRIORS, noise_sd=Belief(0.1, 0.3), noise_tail=Belief(-0.5, 0.4))


@pytest.fixture(scope="module", params=[PRIORS, AGAIN], ids=["alone", "again"])
def pooled(request: pytest.FixtureRequest) -> Pooled:
    return pool([alone(place, request.param) for place in range(len(TRUE))], priors=PRIORS, seed=3)


def test_the_group_is_what_quadrature_says(pooled: Pooled, solved: Moments) -> None:
    """Within a sixth of a posterior SD: 400 draws, a tenth of them lost to mixing and sites."""
    group = pooled.population
    for values, (mean, sd) in (
        (group.means[n.NOISE_SD], solved.mean),
        (group.spreads[n.NOISE_SD], solved.sd),
    ):
        assert abs(values.mean() - mean) < sd / 6
        assert values.std() == pytest.approx(sd, rel=0.15)


def test_each_athlete_is_what_quadrature_says(pooled: Pooled, solved: Moments) -> None:
    for place, each in enumerate(pooled.athletes):
        mean, sd = solved.members[0][place], solved.members[1][place]
        assert not each.again
        for values in (each.column(n.NOISE_SD), each.moved[:, 0]):
            assert abs(values.mean() - mean) < sd / 6
            assert values.std() == pytest.approx(sd, rel=0.2)


def test_rows_stand_for_the_athlete_in_the_group(pooled: Pooled, solved: Moments) -> None:
    each = pooled.athletes[4]
    rows = each.rows(2000)
    assert each.alone.values[rows, 0].mean() == pytest.approx(
        solved.members[0][4], abs=solved.members[1][4] / 6
    )


def test_draws_far_from_the_group_are_to_be_drawn_again() -> None:
    """An athlete whose draws the group has no use for: few of them, far from all others."""
    wide = [replace(Priors(), noise_sd=Belief(0.0, 5.0))] * 6
    squad = [alone(place, of) for place, of in enumerate(wide)]
    lost = squad[4]
    far = lost.values.copy()
    far[:, 0] = 4.0 + 0.7 * (far[:, 0] - far[:, 0].mean()) / far[:, 0].std()
    squad[4] = replace(lost, values=far)
    found = pool(squad, priors=PRIORS, draws=150)
    assert found.again == [4]
    assert abs(found.athletes[4].moved[:, 0].mean()) < 2.0


@pytest.mark.parametrize(("count", "again"), [(50, True), (200, False)])
def test_too_few_draws_that_count_are_to_be_drawn_again(count: int, again: bool) -> None:
    """However even their weights are: a tenth of fewer than a hundred is no end of a range."""
    athlete = alone(0, PRIORS)
    weights = np.where(np.arange(DRAWS) < count, 1 / count, 0.0)
    each = OfGroup(athlete, weights, 0.1, athlete.values)
    assert each.effective == pytest.approx(count)
    assert each.again is again


def test_of_few_athletes_more_draws_are_kept() -> None:
    assert kept_of_each(5) >= 4000  # all that a fit has
    assert kept_of_each(10_000) == kept_of_each(1000) == MOST


def test_draws_that_came_twice_are_no_trouble() -> None:
    squad = [alone(place, PRIORS) for place in range(3)]
    twice = [replace(each, values=np.repeat(each.values[:500], 2, axis=0)) for each in squad]
    assert all(each.pareto_k < 0.5 for each in pool(twice, priors=PRIORS, draws=150).athletes)


def test_a_group_needs_two() -> None:
    with pytest.raises(QuestionError, match="at least two"):
        pool([alone(0, PRIORS)])


def test_what_one_athlete_has_alone_is_in_no_population() -> None:
    def with_lift(place: int, label: str) -> Alone:
        plain = alone(place, PRIORS)
        lift = 0.05 * np.random.default_rng(place).standard_normal((DRAWS, 2))
        return replace(
            plain,
            labels={**plain.labels, n.LIFT: ("river dip", label)},
            values=np.concatenate([plain.values, lift], axis=1),
            columns=(*plain.columns, (n.LIFT, "river dip"), (n.LIFT, label)),
        )

    found = pool([with_lift(0, "beet juice"), with_lift(1, "long nap")], priors=PRIORS, draws=150)
    assert found.population.labels[n.LIFT] == ("river dip",)
    assert found.population.priors().of(n.LIFT, "beet juice") is None
    assert isinstance(found.population.priors().labels[0], LabelBelief)
    assert found.athletes[0].column(n.LIFT, "beet juice").std() == pytest.approx(0.05, rel=0.2)
