"""The PyMC model against the same density written apart, on every make-up a season can have."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import pymc as pm
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from slackwater.model import names as n
from slackwater.model.priors import Belief, Priors, around
from slackwater.model.recovery import build_model
from slackwater.model.season import Season
from tests.model.seasons import season, table
from tests.oracles import dense
from tests.oracles.log_density import likelihood_inputs, log_density

Floats = NDArray[np.float64]

PYTHON_MODE: Final = Mode(linker="py", optimizer="fast_compile")  # nothing to compile


def _only(name: str, column: str, label: str) -> pd.DataFrame:
    whole = table(name)
    return whole[whole[column] == label]


SEASONS: Final[dict[str, Season]] = {
    "all at once": season(),
    "readings alone": season(sessions=None, types=None, interventions=None, stressors=None),
    "one reading": season(readings=table("readings").iloc[[7]]),
    "no sessions": season(sessions=None, types=None),
    "one type": season(
        sessions=_only("sessions", "type", "row intervals"),
        types=_only("types", "type", "row intervals"),
    ),
    "a type done once": season(sessions=table("sessions").iloc[:2]),
    "no interventions": season(interventions=None),
    "no stressors": season(stressors=None),
    "one sensor": season(readings=table("readings").drop(columns="sensor")),
    "no attributes": season(types=None),
    "some nights measured badly": season(
        readings=table("readings").assign(ln_sd=np.linspace(0.0, 0.3, 17))
    ),
    "two sessions alike on one day": season(
        sessions=pd.concat([table("sessions"), table("sessions").iloc[[0]]])
    ),
    "a day that may have been forgotten": season(
        sessions=pd.DataFrame(
            {
                "date": [d for d in pd.date_range("2031-03-02", "2031-03-16") if d.day != 8],
                "type": "row intervals",
            }
        )
    ),
    "logged before and after the readings": season(
        sessions=table("sessions").assign(
            date=pd.to_datetime(
                ["2031-01-02", "2031-02-20", "2031-02-28", *["2031-03-19"] * 2, *["2031-03-25"] * 2]
            )
        )
    ),
}


def _years() -> Season:
    early = pd.to_datetime(["2029-11-10", "2030-01-20"])
    reading = table("readings").iloc[[0]].assign(date=early[0])
    session = table("sessions").iloc[[1]].assign(date=early[1])
    return season(
        readings=pd.concat([reading, table("readings")]),
        sessions=pd.concat([session, table("sessions")]),
    )


SEASONS["more than a year"] = _years()


class Compiled(NamedTuple):
    """A model's log density and gradient, and where sampling starts."""

    season: Season
    model: pm.Model
    function: Any
    start: dict[str, Floats]

    def value(self, point: dict[str, Floats]) -> float:
        *factors, _ = self.function(point)
        return float(sum(np.sum(f) for f in factors))

    def gradient(self, point: dict[str, Floats]) -> Floats:
        return np.asarray(self.function(point)[-1])


def compiled(spring: Season, priors: Priors | None = None) -> Compiled:
    """Compile the factors one by one, since Python's linker adds up at most 31 at a time."""
    model = build_model(spring, priors)
    outputs = [*model.logp(sum=False), model.dlogp()]
    function = model.compile_fn(outputs, mode=PYTHON_MODE)
    return Compiled(spring.observed(), model, function, model.initial_point())


@pytest.fixture(scope="module", params=SEASONS)
def built(request: pytest.FixtureRequest) -> Compiled:
    return compiled(SEASONS[request.param])


@pytest.fixture(scope="module")
def whole() -> Compiled:
    return compiled(season())


def random_point(start: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
    return {name: x + 0.4 * rng.standard_normal(np.shape(x)) for name, x in start.items()}


def named(point: dict[str, Floats]) -> dict[str, Floats]:
    """Name the log of a positive parameter as such."""
    return {
        f"log {k.removesuffix('_log__')}" if k.endswith("_log__") else k: v
        for k, v in point.items()
    }


def labels(model: pm.Model) -> dict[str, list[str]]:
    return {dim: [str(c) for c in model.coords[dim] or ()] for dim in model.coords}


def by_hand(built: Compiled, point: dict[str, Floats], priors: Priors | None = None) -> float:
    return log_density(built.season, priors or Priors(), named(point), labels(built.model))


def test_sampling_can_start(built: Compiled) -> None:
    assert np.isfinite(built.value(built.start))
    gradient = built.gradient(built.start)
    assert gradient.shape == (sum(np.size(x) for x in built.start.values()),)
    assert np.all(np.isfinite(gradient))


def test_log_density_equals_the_one_by_hand(built: Compiled) -> None:
    rng = np.random.default_rng(sum(map(ord, "density")))
    for _ in range(5):
        point = random_point(built.start, rng)
        assert built.value(point) == pytest.approx(by_hand(built, point), rel=1e-9, abs=1e-9)


def test_gradient_equals_finite_differences(built: Compiled) -> None:
    """Along random directions, by differences extrapolated to fourth order."""
    rng = np.random.default_rng(sum(map(ord, "gradient")))
    point = random_point(built.start, rng)
    gradient = built.gradient(point)
    for _ in range(3):
        along = {name: rng.standard_normal(np.shape(x)) for name, x in point.items()}

        def at(step: float, along: dict[str, Floats] = along) -> float:
            return built.value({name: point[name] + step * along[name] for name in point})

        rough, fine = ((at(h) - at(-h)) / (2 * h) for h in (2e-3, 1e-3))
        flat = np.concatenate([np.ravel(along[v.name]) for v in built.model.value_vars])
        assert gradient @ flat == pytest.approx((4 * fine - rough) / 3, rel=1e-6, abs=1e-7)


# Where nothing is announced and nothing unexplained, they say nothing.
NOT_BEFORE_A_WATCH: Final = {"new_level", "unexplained", "unexplained_rate"}


def test_own_priors_are_used() -> None:
    """Each prior is moved in turn, and the density moves as by hand."""
    others = Priors(
        **{
            name: Belief(belief.mean + 0.1, belief.sd * 1.2)
            for name, belief in vars(Priors()).items()
        }
    )
    days = [day for day in pd.date_range("2031-03-02", "2031-03-16") if day.day != 8]
    types = np.resize(table("types")["type"], len(days))
    early = table("readings").iloc[[0]].assign(date=pd.Timestamp("2029-11-10"))
    spring = season(
        readings=pd.concat([early, table("readings")]),
        sessions=pd.DataFrame({"date": days, "type": types}),
    )  # in which all of them take part: over a year, and a day perhaps forgotten
    mine = compiled(spring, others)
    point = random_point(mine.start, np.random.default_rng(3))
    expected = by_hand(mine, point, others)
    assert mine.value(point) == pytest.approx(expected, rel=1e-9)
    for name in set(vars(others)) - NOT_BEFORE_A_WATCH:
        changed = replace(others, **{name: getattr(Priors(), name)})
        assert abs(by_hand(mine, point, changed) - expected) > 1e-6, name


def test_a_prior_without_width_is_refused() -> None:
    with pytest.raises(ValueError, match="'noise_sd' needs a standard deviation above 0"):
        Priors(noise_sd=around(0.1, 0.0))


@pytest.mark.parametrize(
    "spoil",
    [
        {"sessions": table("sessions").assign(date=lambda t: t["date"] + pd.Timedelta(days=1))},
        {"sessions": table("sessions").assign(dose=1.0)},
        {
            "interventions": table("interventions").assign(
                date=lambda t: t["date"] + pd.Timedelta(days=1)
            )
        },
    ],
    ids=["sessions a day later", "doses forgotten", "measures a day later"],
)
def test_the_same_comparison_rejects_another_season(
    whole: Compiled, spoil: dict[str, pd.DataFrame]
) -> None:
    point = random_point(whole.start, np.random.default_rng(4))
    wrong = whole._replace(season=season(**spoil).observed())
    assert abs(whole.value(point) - by_hand(wrong, point)) > 1e-3


def test_what_the_last_reading_cannot_show_is_not_in_the_model() -> None:
    model = build_model(SEASONS["logged before and after the readings"])
    sessions = [str(s) for s in model.coords[n.SESSION]]
    assert sessions == [
        "2031-02-20 heavy lifting",
        "2031-02-28 easy paddle",
        "2031-03-19 easy paddle",
        "2031-03-19 row intervals",
    ]


def test_sessions_alike_on_one_day_have_names_of_their_own() -> None:
    model = build_model(SEASONS["two sessions alike on one day"])
    sessions = [str(s) for s in model.coords[n.SESSION]]
    assert sessions[:2] == ["2031-03-02 row intervals", "2031-03-02 row intervals 2"]
    assert len(set(sessions)) == len(sessions)


def test_readings_drawn_by_the_model_follow_its_density(whole: Compiled) -> None:
    """Parameters from the prior, readings given them: whitened, they are standard normal.

    Mean and covariance within five standard errors, of normal theory; 170 numbers are compared.
    """
    draws = 500
    drawn = pm.sample_prior_predictive(
        draws, whole.model, random_seed=5, compile_kwargs={"mode": PYTHON_MODE}
    )
    parameters = {str(k): v.to_numpy()[0] for k, v in drawn.prior.items() if k != n.TYPE_LOG_RATE}
    readings = drawn.prior_predictive[n.LOG_RMSSD].to_numpy()[0]
    white = np.empty_like(readings)
    positive = {v.removesuffix("_log__") for v in whole.start if v.endswith("_log__")}
    for i in range(draws):
        values = {
            f"log {k}" if k in positive else k: np.log(v[i]) if k in positive else v[i]
            for k, v in parameters.items()
        }
        inputs, _ = likelihood_inputs(whole.season, Priors(), values, labels(whole.model))
        mean, covariance = dense.readings_given_parameters(inputs)
        white[i] = np.linalg.solve(np.linalg.cholesky(covariance), readings[i] - mean)
    unit = np.eye(readings.shape[1])
    assert np.all(abs(white.mean(axis=0)) < 5 / np.sqrt(draws))
    assert np.all(abs(np.cov(white.T) - unit) < 5 * np.sqrt((1 + unit) / draws))
