"""The studies' own parts, which no study would notice if they were wrong."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm
from statsmodels.tsa.statespace.structural import UnobservedComponents

from slackwater.model import names as n
from slackwater.model.season import Season
from tests.studies import code_state
from tests.studies.asking import share_held
from tests.studies.bootstrap import Ranged, mean_over, ratio_over, share_over
from tests.studies.coverage import coverage_row, flat, table
from tests.studies.flags import first_told, stretches
from tests.studies.generator import AHEAD, TYPES, Made, make
from tests.studies.judging import judge
from tests.studies.kinds import (
    DROPS,
    FIRST_KINDS,
    KINDS,
    MEDIANS,
    OTHER_KINDS,
    RANGES,
    draw_scales,
)
from tests.studies.noise import Noise
from tests.studies.oracle import Oracle


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_makes_a_season_that_can_be_read(kind: str) -> None:
    made = make(kind, 5)
    season = Season.from_tables("made", **made.tables)
    assert len(season.nights) == made.nights == len(made.level)
    assert len(made.coming) == AHEAD
    assert set(season.types) <= set(made.days)
    assert all(days >= 1 for days in made.days.values())


def test_scales_at_the_medians_give_the_seasons_of_earlier_studies() -> None:
    """Figures of the generator before its scales were drawn, for seed 3; tails move them little."""
    made = make("as modelled", 3, scales=MEDIANS)
    expected = [1.158, 1.698, 3.006, 2.468, 4.352]
    assert list(made.days.values()) == pytest.approx(expected, abs=0.006)
    expected = [1.0, 1.284, 2.702, 2.672, 4.656]
    assert list(made.next_days.values()) == pytest.approx(expected, abs=0.006)
    assert made.level[-1] == pytest.approx(4.028080073)


def test_scales_are_drawn_more_widely_than_the_priors() -> None:
    """Log SDs of the priors of scatter, drift, tail and start's dip and rate."""
    rng = np.random.default_rng(1)
    drawn = np.log(np.array([draw_scales(rng) for _ in range(4000)], float))
    spread = dict(zip(RANGES, drawn.std(axis=0), strict=True))
    believed = {
        "scatter": 0.5, "drift": 0.7, "tail": 0.5, "start": 1.0, "start_half_life": 0.5,
    }  # fmt: skip
    assert all(spread[name] > 1.1 * sd for name, sd in believed.items())


def test_one_seed_is_one_athlete_in_the_kinds_that_share_random_numbers() -> None:
    first, other = make("as modelled", 9), make("noise autocorrelation 0.4", 9)
    assert first.days == other.days
    assert first.tables["sessions"].equals(other.tables["sessions"])
    np.testing.assert_array_equal(first.dip, other.dip)
    np.testing.assert_array_equal(first.level, other.level)


@pytest.mark.parametrize("autocorrelation", [0.0, 0.4])
def test_noise_remembers_as_much_as_it_should(autocorrelation: float) -> None:
    law = Noise(0.1, 0.5, autocorrelation=autocorrelation)
    rng = np.random.default_rng(2)
    errors = law.with_memory(law.independent(20_000, rng))
    lag = np.corrcoef(errors[1:], errors[:-1])[0, 1]
    assert lag == pytest.approx(autocorrelation, abs=4 / math.sqrt(20_000))
    assert errors.std() == pytest.approx(0.1 * math.exp(0.5**2 / 4), rel=0.05)


@pytest.mark.parametrize("degrees", [None, 4.0])
def test_noise_of_68_nights_in_100_is_no_larger_than_an_ordinary_ones(
    degrees: float | None,
) -> None:
    law = Noise(0.1, 0.9, degrees)
    drawn = law.independent(40_000, np.random.default_rng(3))
    # 0.6827, within 5 binomial standard errors.
    assert (np.abs(drawn) < law.ordinary).mean() == pytest.approx(0.6827, abs=0.012)


@pytest.mark.parametrize("kind", DROPS)
def test_a_drop_is_as_deep_and_as_long_as_its_name_says(kind: str) -> None:
    drop = KINDS[kind].drop
    assert drop is not None
    plain, made = make("as modelled", 4), make(kind, 4)
    moved = sum(made.whole[k] - plain.whole[k] for k in ("level", "shift"))
    low = np.isclose(100 * np.expm1(moved[: made.nights]), -drop.percent)
    assert made.drop_at == int(np.argmax(low))
    assert low.sum() == drop.nights
    assert low[-1] == drop.ends
    baseline_moved = not np.allclose(made.level, plain.level)
    assert baseline_moved == drop.stays


def test_a_rhythm_leaves_the_weeks_mean_to_baseline() -> None:
    made = make("weekly rhythm, fixed weekdays", 4)
    week = made.whole["shift"][:7]
    assert week.sum() == pytest.approx(0.0, abs=1e-9)
    assert np.exp(week.min() - week.max()) == pytest.approx(0.9)
    dates = made.tables["sessions"]["date"]
    by_type = dates.dt.day_of_week.groupby(made.tables["sessions"]["type"]).nunique()
    assert (by_type == 1).all()
    assert len(by_type) == len(TYPES)


def test_sessions_that_are_not_logged_were_felt_all_the_same() -> None:
    plain, made = make("as modelled", 6), make("one session in eight not logged", 6)
    np.testing.assert_array_equal(plain.dip, made.dip)
    left_out = 1 - len(made.tables["sessions"]) / len(plain.tables["sessions"])
    assert 0 < left_out < 0.3


@pytest.mark.parametrize("kind", ["as modelled", "noise autocorrelation 0.4"])
def test_the_oracle_is_the_kalman_filter_where_noise_is_gaussian(kind: str) -> None:
    """statsmodels' random walk plus first-order autoregression, with the true variances."""
    made = make(kind, 8, scales=MEDIANS._replace(tail=1e-6))
    season = Season.from_tables("made", **made.tables)
    known = (made.whole["dip"] - made.whole["shift"])[: made.nights]
    seen = season.data[n.LOG_RMSSD].values + known
    kept = made.law.autocorrelation
    model = UnobservedComponents(seen, "rwalk", autoregressive=1)
    fresh = made.law.sd**2 * (1 - kept**2)
    forecast = model.smooth([made.scales.drift**2, fresh, kept]).get_forecast(7)
    for horizon in (1, 7):
        draws = Oracle(made).ahead(made.nights - 1, horizon)
        offset = made.whole["shift"] - made.whole["dip"]
        mean = forecast.predicted_mean[horizon - 1] + offset[made.nights - 1 + horizon]
        sd = math.sqrt(forecast.var_pred_mean[horizon - 1])
        assert draws.mean() == pytest.approx(mean, abs=5 * sd / math.sqrt(len(draws)))
        assert draws.std() == pytest.approx(sd, rel=5 / math.sqrt(2 * len(draws)))


@pytest.mark.parametrize("kind", ["heavy tails, 20 % missing", "unlogged bad nights"])
def test_the_oracle_knows_the_law_of_the_noise(kind: str) -> None:
    """Its 80 % ranges hold four in five readings, however the noise is made."""
    hits = [_held(make(kind, seed)) for seed in range(4)]
    count = sum(map(len, hits))
    share = np.concatenate(hits).mean()
    assert share == pytest.approx(0.8, abs=4 * math.sqrt(0.16 / count))


def _held(made: Made) -> list[bool]:
    oracle, reading = Oracle(made), made.whole["reading"]
    bounds = {o: np.quantile(oracle.ahead(o, 1), [0.1, 0.9]) for o in range(40, 160, 3)}
    return [bool(low <= reading[o + 1] <= high) for o, (low, high) in bounds.items()]


def test_the_bootstrap_agrees_with_the_normal_range_of_a_mean() -> None:
    values = np.random.default_rng(5).standard_normal(200)
    found = mean_over([[v] for v in values])
    half = norm.ppf(0.975) * values.std() / math.sqrt(200)
    assert found.value == pytest.approx(values.mean())
    assert (found.low, found.high) == pytest.approx(
        (values.mean() - half, values.mean() + half), abs=0.15 * half
    )


def test_seasons_and_not_their_types_are_the_unit() -> None:
    """Five copies of one value say no more than the value."""
    values = np.random.default_rng(6).standard_normal(40)
    once, five = mean_over([[v] for v in values]), mean_over([[v] * 5 for v in values])
    assert five == pytest.approx(once)
    assert math.isnan(ratio_over([(0.0, 0.0)]).value)


def test_seasons_that_all_end_alike_are_no_proof() -> None:
    """Clopper & Pearson 1934: n of n hits have the lower bound (0.025)^(1/n)."""
    once, four = share_over([[1.0]] * 60), share_over([[1.0] * 4] * 60)
    assert once == pytest.approx((1.0, 0.025 ** (1 / 60), 1.0))
    assert four == once
    some = [[1.0, 0.0], [1.0], [0.0, 1.0, 1.0]]
    assert share_over(some) == mean_over(some)


def _judged(cover: float, days: float, refused: str = "") -> dict[str, Any]:
    against = {
        "cover": cover, "width": 1.0, "error": 0.5, "held": 0.8, "over": 0.9, "inside": 0.72,
        "expected_error": -0.09,
    }  # fmt: skip
    return {
        "refused": refused,
        "types": [{"days": days, "next_days": 2.0, "typical": against, "next": against}],
        "baseline": against,
        "noise": against,
        "coming": [{"horizon": 1, "cover": cover, "crps": 3.0, "oracle": 2.0}],
        "flagged": None,
        "fit": {"divergences": 0, "ess": 500.0, "seconds": 2.0},
    }


def test_truths_of_exactly_one_day_are_counted_apart() -> None:
    row = coverage_row("made", [_judged(0.0, 2.0), _judged(1.0, 1.0), _judged(1.0, 3.0, "no")])
    assert row["typical"].value == 0.0
    assert row["typical_one_day"].value == 1.0
    assert row["bias_foretold"] == pytest.approx(-0.1)
    assert [row["typical_all"].value, row["next_foretold"]] == pytest.approx([0.8, 0.8])
    assert (row["types_over_a_day"], row["types_of_one_day"], row["refused"]) == (1, 1, 1)
    assert row["crps_over_oracle"].value == pytest.approx(1.5)


def test_ties_are_counted_by_the_share_that_lies_in_the_range() -> None:
    """Truths and draws of one law, of which many are exactly one day, are held 8 times in 10."""
    rng = np.random.default_rng(3)
    days = 1 + np.maximum(0.0, rng.normal(0.3, 1.0, (400, 500)))
    shares = [share_held(row[1:], row[0]) for row in days]
    assert np.mean([s["held"] for s in shares]) == pytest.approx(0.8, abs=5 * 0.4 / 20)
    over = days[:, 0] > 1
    low, high = np.quantile(days[:, 1:], [0.1, 0.9], axis=1)
    foretold = sum(s["inside"] for s in shares) / sum(s["over"] for s in shares)
    found = ((days[:, 0] <= high) & (days[:, 0] >= low))[over].mean()
    assert foretold == pytest.approx(found, abs=5 * 0.4 / np.sqrt(over.sum()))
    assert share_held(np.linspace(2.0, 3.0, 101), 2.5)["held"] == 1.0
    assert share_held(np.linspace(2.0, 3.0, 101), 1.0)["held"] == 0.0


def test_a_ranged_value_is_three_columns_and_one_cell() -> None:
    row = {"kind": "made", "typical": Ranged(0.8, 0.7, 0.9)}
    assert flat(row) == {
        "kind": "made", "typical": "0.800", "typical_low": "0.700", "typical_high": "0.900",
    }  # fmt: skip
    assert "| made | 0.80 (0.70 to 0.90) |" in table([row], {"kind": "kind", "typical": "days"})


def test_results_are_kept_by_the_code_that_made_them(monkeypatch: pytest.MonkeyPatch) -> None:
    before, source = code_state.state_of(judge), code_state._source

    def with_text(module: str, text: str) -> str:
        def changed(name: str) -> str:
            return source(name) + text if name == module else source(name)

        monkeypatch.setattr(code_state, "_source", changed)
        return code_state.state_of(judge)

    assert with_text("slackwater.model.dynamics", "\n# a remark\n") == before
    assert with_text("slackwater.model.dynamics", "\nCHANGED = 1\n") != before
    assert with_text("slackwater.fitting.report.words", "\nCHANGED = 1\n") == before


def test_the_first_kinds_keep_their_places() -> None:
    assert [kind.stream for kind in FIRST_KINDS.values()] == list(range(12))
    assert all(kind.stream == 0 for kind in {**OTHER_KINDS, **DROPS}.values())


def test_a_drop_is_told_when_something_lower_is_told() -> None:
    assert first_told([None, 4.0, None, -12.0, -13.0]) == 4
    assert first_told([None, None]) is None


def test_a_stretch_that_is_told_is_counted_once() -> None:
    quiet: list[float | None] = [None] * 8
    assert stretches(quiet) == 0
    assert stretches([*quiet, -9.0, -9.0, None, -9.0, *quiet]) == 1
    assert stretches([-9.0, *quiet, 8.0, *quiet, -9.0]) == 3
