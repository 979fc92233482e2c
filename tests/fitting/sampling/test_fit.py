"""Fits: the same for the same seed, named as the model names things, judged as ArviZ judges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any, NamedTuple

import arviz as az
import numpy as np
import pymc as pm
import pytest
import xarray as xr

from slackwater.fitting import Athlete, Posterior, fit
from slackwater.fitting.sampling import fit as fit_module
from slackwater.fitting.sampling.fit import CAREFUL, FEWEST_READINGS, TARGET_ACCEPT, TUNE, check
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model import names as n
from slackwater.model.design import design_of
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.paths import last_night
from slackwater.model.priors import Belief, Priors
from slackwater.model.recovery import build_model
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.conftest import Fitted
from tests.fitting.sampling.test_machine_code import PYTHON

CLEAN = FitChecks(0, 4000, 1.0, 2000.0, 2000.0)


class Short(NamedTuple):
    posterior: Posterior
    progress: list[tuple[int, int]]


def short_fit(season: Season, **options: Any) -> Short:
    """Return a fit too short to rest anything on, which runs twice for that reason."""
    told: list[tuple[int, int]] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fit_module, "TUNE", 200)
        patch.setattr(fit_module, "ENOUGH", 100)
        patch.setattr(fit_module, "CAREFUL", (300, 0.9))
        posterior = fit(
            season,
            seed=3,
            draws=100,
            chains=2,
            progress=lambda *counts: told.append(counts),
            **options,
        )
    return Short(posterior, told)


@pytest.fixture(scope="module")
def short(demo: Fitted) -> Short:
    return short_fit(demo.season)


def drawn(posterior: Posterior) -> xr.Dataset:
    return posterior.tree["posterior"].to_dataset()


def test_the_same_seed_gives_the_same_draws_on_any_number_of_cores(
    demo: Fitted, short: Short
) -> None:
    again = short_fit(demo.season, cores=1).posterior
    assert drawn(again).identical(drawn(short.posterior))
    assert again.checks == short.posterior.checks


def test_other_seeds_and_other_chains_share_no_draw(demo: Fitted, short: Short) -> None:
    assert short.posterior.seed == 3 != demo.posterior.seed
    chains = [*drawn(short.posterior)[n.NOISE_SD].values, *drawn(demo.posterior)[n.NOISE_SD].values]
    for one, other in combinations(chains, 2):
        assert not np.intersect1d(one, other).size


def test_without_a_seed_it_follows_from_what_was_logged(demo: Fitted) -> None:
    assert demo.posterior.seed == int(demo.season.observed().fingerprint()[:7], 16)
    assert demo.posterior.seed >= 0


def test_a_fit_keeps_the_priors_that_it_was_made_with(demo: Fitted, tmp_path: Path) -> None:
    assert demo.posterior.priors == Priors()
    far = Priors(baseline=Belief(np.log(40.0), 0.01))  # the demo's readings lie about 60 ms
    posterior = short_fit(demo.season, priors=far).posterior
    posterior.save(tmp_path)
    loaded = Posterior.load(tmp_path)
    assert posterior.priors == loaded.priors == far
    constant = posterior.tree["constant_data"].to_dataset()
    assert float(constant[n.BASELINE_PRIOR_MEAN]) == far.baseline.mean

    # A look at the past begins where the fit began, and ends where it ended.
    athlete = Athlete(demo.season, replace(loaded, checks=CLEAN))  # too short a fit to be clean
    past = athlete.past
    assert np.abs(past.filtered.expected[:, 0] - np.log(40.0)).max() < 0.05
    last = loaded.last  # on which something is unexplained, if this far from what was believed
    np.testing.assert_allclose(past.filtered.last.mean.T, last["level_mean"], rtol=1e-9)
    kept = last["level_covariance"]
    np.testing.assert_allclose(past.filtered.last.covariance.T, kept, rtol=1e-9, atol=1e-12)


def test_the_state_on_the_last_night_is_kept_draw_by_draw(demo: Fitted) -> None:
    season = demo.season.observed()
    expected, levels = last_night(demo.posterior.draws, season, design_of(season), Priors())
    np.testing.assert_array_equal(demo.posterior.watched.levels, levels)
    for name, values in expected.items():
        np.testing.assert_array_equal(demo.posterior.last[name], values)
    assert list(demo.posterior.last[n.GROUP].values) == list(expected[n.GROUP].values)


def test_draws_carry_the_models_names_and_labels(demo: Fitted) -> None:
    model = build_model(demo.season)
    draws = drawn(demo.posterior)
    modelled = [*model.free_RVs, *model.deterministics]
    assert set(draws.data_vars) == {variable.name for variable in modelled}
    for variable in modelled:
        dims = model.named_vars_to_dims.get(variable.name, ())
        assert draws[variable.name].dims == (n.CHAIN, n.DRAW, *dims)
    assert list(draws[n.TYPE].values) == demo.season.types
    assert list(draws[n.INTERVENTION].values) == demo.season.interventions
    assert draws[n.SESSION].values[0] == "2031-01-20 hill run"
    assert draws.sizes[n.CHAIN] == 4
    assert draws.sizes[n.DRAW] == 1000


def test_each_draw_has_the_log_density_that_the_sampler_saw(demo: Fitted) -> None:
    # Holds only where every piece of the sampler's point has the right name, shape and scale.
    model = build_model(demo.season)
    density: Callable[[dict[str, Any]], Any] = model.compile_logp(sum=False, mode=PYTHON)
    draws = drawn(demo.posterior)
    seen = demo.posterior.tree["sample_stats"].to_dataset()["lp"]
    for chain, draw in [(0, 0), (1, 500), (3, 999)]:
        one = draws.isel({n.CHAIN: chain, n.DRAW: draw})
        point = {}
        for variable in model.free_RVs:
            value = model.rvs_to_values[variable].name
            drawn_value = one[variable.name].values
            point[value] = np.log(drawn_value) if value.endswith("_log__") else drawn_value
        expected = sum(float(np.sum(piece)) for piece in density(point))
        assert float(seen[chain, draw]) == pytest.approx(expected, rel=1e-9)


def test_type_rates_are_those_that_the_model_defines(demo: Fitted) -> None:
    draws = drawn(demo.posterior).isel({n.DRAW: slice(0, 1000, 100)})
    computed = pm.compute_deterministics(
        draws.drop_vars(n.TYPE_LOG_RATE),
        model=build_model(demo.season),
        var_names=[n.TYPE_LOG_RATE],
        progressbar=False,
        compile_kwargs={"mode": PYTHON},
    )
    assert computed[n.TYPE_LOG_RATE].dims == draws[n.TYPE_LOG_RATE].dims
    np.testing.assert_allclose(computed[n.TYPE_LOG_RATE], draws[n.TYPE_LOG_RATE], rtol=1e-12)


def test_checks_equal_arvizs_own(demo: Fitted) -> None:
    checks = demo.posterior.checks
    draws = drawn(demo.posterior).drop_vars(n.NIGHT_SCALE)

    def each(values: xr.Dataset | xr.DataTree) -> np.ndarray:
        return np.concatenate([v.values.ravel() for v in values.data_vars.values()])

    assert checks.worst_rhat == pytest.approx(each(az.rhat(draws)).max(), rel=1e-9)
    bulk = each(az.ess(draws, method="bulk"))
    tail = each(az.ess(draws, method="tail", prob=(0.05, 0.95)))
    assert checks.worst_bulk_ess == pytest.approx(bulk.min(), rel=1e-9)
    assert checks.worst_tail_ess == pytest.approx(tail.min(), rel=1e-9)
    assert checks.draws == 4000
    stats = demo.posterior.tree["sample_stats"]
    assert checks.divergences == int(stats["diverging"].sum())


def test_chains_that_disagree_are_noticed(demo: Fitted) -> None:
    draws = drawn(demo.posterior).copy(deep=True)
    draws[n.DRIFT_SD][0] += 3 * float(draws[n.DRIFT_SD].std())
    checks = check(draws, demo.posterior.tree["sample_stats"].to_dataset())
    assert checks.worst_rhat > 1.1
    assert checks.worst_bulk_ess < 100
    assert not checks.usable


def test_the_demo_season_fits_well(demo: Fitted) -> None:
    assert demo.posterior.checks.usable
    assert demo.posterior.checks.worst_bulk_ess > 400


def test_progress_is_told_up_to_the_end_of_each_run(short: Short) -> None:
    first, second = 2 * (200 + 100), 2 * (300 + 100)
    assert short.progress[-1] == (second, second)
    assert (first, first) in short.progress
    for total in (first, second):
        done = [counts[0] for counts in short.progress if counts[1] == total]
        assert done == sorted(done)


@pytest.mark.parametrize(
    ("first", "second", "kept"),
    [
        (CLEAN, None, CLEAN),
        (few := FitChecks(0, 1000, 1.03, 150.0, 150.0), None, few),  # more draws would mend it
        (replace(CLEAN, divergences=2), CLEAN, CLEAN),
        (replace(CLEAN, divergences=2), replace(CLEAN, divergences=1), 1),
        (replace(CLEAN, divergences=2), replace(CLEAN, divergences=3), 2),
        (replace(CLEAN, divergences=50), replace(CLEAN, divergences=2), 2),
        # Good enough with two flaws is better than unusable with one.
        (replace(CLEAN, divergences=50), replace(CLEAN, divergences=2, worst_rhat=1.02), 2),
        (replace(CLEAN, divergences=2), FitChecks(0, 4000, 1.2, 2000.0, 2000.0), 2),
    ],
)
def test_a_run_with_a_flaw_is_repeated_with_more_care_and_the_better_one_kept(
    demo: Fitted,
    monkeypatch: pytest.MonkeyPatch,
    first: FitChecks,
    second: FitChecks | None,
    kept: FitChecks | int,
) -> None:
    runs = [first, *([] if second is None else [second])]
    groups = {
        name: demo.posterior.tree[name].to_dataset()
        for name in ("posterior", "sample_stats", "observed_data", "constant_data")
    }
    asked = []

    def sample(run: object, seed: int, *care: float) -> tuple[dict[str, xr.Dataset], FitChecks]:
        asked.append(care)
        return groups, runs[len(asked) - 1]

    monkeypatch.setattr(fit_module._Run, "sample", sample)
    checks = fit(demo.season).checks
    assert asked == [(TUNE, TARGET_ACCEPT), CAREFUL][: len(runs)]
    assert checks == kept if isinstance(kept, FitChecks) else checks.divergences == kept


TOO_FEW = Reason("too few readings", season="spring", readings=13, needed=14)


def test_too_few_readings_are_no_season_yet() -> None:
    with pytest.raises(NoAnswerError) as caught:
        fit(by_hand.season(readings=[4.0] * (FEWEST_READINGS - 1)))
    assert caught.value.reasons == (TOO_FEW,)


def test_missing_nights_are_no_readings() -> None:
    with pytest.raises(NoAnswerError) as caught:
        fit(by_hand.season(readings=[4.0, np.nan] * 13))
    assert caught.value.reasons == (TOO_FEW,)


@pytest.mark.parametrize(("draws", "chains"), [(99, 4), (0, 4), (-5, 4), (1000, 1), (1000, 0)])
def test_a_fit_that_could_not_be_judged_is_refused(demo: Fitted, draws: int, chains: int) -> None:
    with pytest.raises(QuestionError, match="at least 100 draws and 2 chains"):
        fit(demo.season, draws=draws, chains=chains)
