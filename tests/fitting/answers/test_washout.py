"""Rest to baseline: days still needed, the way so far, and what would spoil it."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from scipy import stats

from slackwater.fitting import Athlete, baseline, read_season, washout
from slackwater.fitting.answers.baseline import flat_nights
from slackwater.fitting.answers.rest import RestSoFar, rest_of, rise
from slackwater.fitting.answers.washout import LearntWashout, UsualWashout, Washout
from slackwater.fitting.cli import cli
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import Priors
from slackwater.model.simulator import Impulse, Truth, plan_season, simulate
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.conftest import Fitted

NIGHTS = 30
LAST_DAY = NIGHTS - 1


def rowed(*days: int, left: Any = 0.0, half_life: Any = 1.0, **others: Any) -> Athlete:
    """A rower with a threshold of 0.05 ln and one group that dips."""
    known = Known({"row": (0.2, half_life)}, dips_left={"row": left}, session_sd=1e-12)
    of_season = ("interventions", "stressors", "readings", "sensors")
    logged = {key: others.pop(key) for key in of_season if key in others}
    season = by_hand.season(NIGHTS, [(day, "row") for day in days], **logged)
    return by_hand.athlete_of(season, known._replace(**others))


def learnt(athlete: Athlete, **asked: Any) -> LearntWashout:
    answer = washout(athlete, **asked)
    assert isinstance(answer, LearntWashout)
    return answer


def usual(*season: Any, **asked: Any) -> UsualWashout:
    answer = washout(Athlete(by_hand.season(*season)), **asked)
    assert isinstance(answer, UsualWashout)
    return answer


def state_of(answer: Washout, condition: str) -> tuple[str, Reason]:
    (row,) = (c for c in answer.conditions if c.condition == Reason(condition))
    return row.state, row.detail


def on(label: str, date: str, code: str = "logged, with dates") -> Reason:
    return Reason(code, labels=[label], dates=[date])


# The days still needed.


def test_days_of_rest_of_one_exponential_dip() -> None:
    # 0.20 halves to 0.05 in two half-lives (arithmetic: t = ln(A / delta) / k), told in whole days.
    for half_life, days in ((0.7, 2), (1.1, 3), (3.3, 7)):
        answer = washout(rowed(3, left=0.20, half_life=half_life))
        assert answer.further_rest_days == days
        expected = [float(day >= 2 * half_life) for day in range(1, 8)]
        assert answer.coming["chance_at_baseline"].values.tolist() == expected
        tomorrow = answer.coming["dip_left_ln"].isel(night=0).sel(bound="median")
        assert float(tomorrow) == pytest.approx(0.20 * 0.5 ** (1 / half_life))


def test_the_promised_day_is_the_first_with_the_chance_asked_for() -> None:
    # Draw d of ten is back after d days, so the chance is d / 10 after d days.
    left = np.repeat(0.0499 * 2.0 ** np.arange(1, 11), 100)
    answer = washout(rowed(3, left=left), days=12)
    assert answer.coming["chance_at_baseline"].values[:10] == pytest.approx(np.arange(1, 11) / 10)
    assert answer.further_rest_days == 8  # four in five, where nobody says otherwise
    assert [washout(rowed(3, left=left), chance=c).further_rest_days for c in (0.5, 0.9)] == [5, 9]
    assert str(answer.coming["night"].values[0])[:10] == "2031-03-31"
    assert answer.coming.sizes["night"] == 12


def test_no_day_of_rest_is_needed_where_the_chance_is_there_already() -> None:
    left = np.where(np.arange(1000) < 900, 0.04, 0.3)
    answer = washout(rowed(3, left=left))
    assert answer.further_rest_days == 0
    assert answer.chance_at_baseline == 0.9


def test_a_session_of_the_last_day_is_felt_first() -> None:
    # 0.2 are felt tomorrow and are under 0.05 two days later; one too small to matter, tomorrow.
    answer = washout(rowed(LAST_DAY, half_life=0.95))
    assert answer.further_rest_days == 1 + 2
    assert answer.rest.nights == NIGHTS
    assert state_of(answer, "no training") == ("not met", on("row", "2031-03-30"))
    assert answer.about.warnings == (on("row", "2031-03-30", "rest not begun"),)
    small = Known({"row": (0.01, 1.0)}, session_sd=1e-12)
    answer = learnt(by_hand.athlete_of(by_hand.season(NIGHTS, [(LAST_DAY, "row")]), small))
    assert answer.chance_at_baseline == 1.0
    assert answer.further_rest_days == 1
    assert wanted(answer)["chance_at_baseline"] == (1.0, 0.9, False)


def test_a_recovery_farther_than_can_be_seen_has_no_day() -> None:
    answer = washout(rowed(3, left=0.4, half_life=500.0))
    assert answer.further_rest_days is None


@pytest.mark.parametrize("days", [0, -1, 61])
def test_days_asked_for_must_be_1_to_60(days: int) -> None:
    with pytest.raises(QuestionError, match="1 to 60 days"):
        washout(rowed(3), days)
    with pytest.raises(QuestionError, match="1 to 60 days"):
        usual(5, days=days)


@pytest.mark.parametrize("chance", [0.0, 1.0])
def test_a_chance_is_asked_for_as_of_a_plan(chance: float) -> None:
    with pytest.raises(QuestionError, match=r"not above 0 and at most 0\.99"):
        washout(rowed(3), chance=chance)


# Looking back.


def test_looking_back_the_dip_was_larger_each_morning_before() -> None:
    athlete = rowed(24, left=0.01)  # first felt on the 25th day, five mornings to the 29th
    answer = learnt(athlete)
    assert [str(d)[:10] for d in answer.past["night"].values] == [
        f"2031-03-{day}" for day in (26, 27, 28, 29, 30)
    ]
    back = answer.past["dip_left_ln"].sel(bound="median").values
    assert back == pytest.approx([0.16, 0.08, 0.04, 0.02, 0.01])
    assert answer.past["chance_flat"].values.tolist() == [0, 0, 1, 1, 1]
    assert answer.past["by_model"].values.tolist() == ["not flat"] * 2 + ["flat"] * 3
    assert answer.plateau == baseline(athlete).plateau
    assert (answer.plateau.flat_nights, answer.plateau.reached) == (3, True)
    assert answer.rest == RestSoFar(on("row", "2031-03-25", "rest after"), 4, 4)


@pytest.mark.parametrize("rest", [0, 1, 4, 9])
def test_flat_mornings_agree_with_the_plateau_of_the_baseline_answer(rest: int) -> None:
    rng = np.random.default_rng(rest)
    athlete = rowed(LAST_DAY - 1 - rest, left=0.02 * np.exp(0.5 * rng.standard_normal(1000)))
    answer = learnt(athlete)
    flat = answer.past["chance_flat"].values[1:] >= 0.8  # the session's own night is none of rest
    assert (answer.past["by_model"].values[1:] == "flat").tolist() == flat.tolist()
    in_a_row = int(np.cumprod(flat[::-1]).sum())
    assert in_a_row == flat_nights(athlete.now) == answer.plateau.flat_nights


def test_looking_back_over_a_stressor_stops_there_and_over_months_at_four_weeks() -> None:
    cold = by_hand.season(NIGHTS, [(3, "row")], stressors=[(25, "cold")])
    known = Known({"row": (0.2, 1.0)}, {"cold": (0.1, 1.0)}, dips_left={"cold": 0.01})
    answer = learnt(by_hand.athlete_of(cold, known))
    assert str(answer.past["night"].values[0])[:10] == "2031-03-27"
    assert answer.rest.nights == LAST_DAY - 4
    assert state_of(answer, "nothing else that weighs") == ("not met", on("cold", "2031-03-26"))
    long = learnt(by_hand.athlete_of(by_hand.season(200), Known()))
    assert long.past.sizes["night"] == 28
    assert long.rest == RestSoFar(Reason("rest after", labels=[], dates=[]), 200, 200)
    assert np.isfinite(long.past["dip_left_ln"].values).all()


def test_a_measure_made_the_dip_larger_the_mornings_before() -> None:
    # At twice the rate on the last night, 0.01 was 0.04 the night before.
    used = [(LAST_DAY - 1, "bath")]
    answer = learnt(rowed(25, left=0.01, interventions=used, rate_ratios={"bath": 2.0}))
    back = answer.past["dip_left_ln"].sel(bound="median").values
    assert back[-3:] == pytest.approx([0.08, 0.04, 0.01])
    assert state_of(answer, "no recovery measure") == ("not met", Reason("logged", names=["bath"]))


def test_the_plain_rule_is_three_readings_against_the_three_before() -> None:
    readings = np.array([4.0, 4.1, 4.2, 4.3, 4.4, 4.5, 4.5])
    one = np.zeros(7, int)
    assert rise(readings, one)[:5] == pytest.approx(np.full(5, np.nan), nan_ok=True)
    assert rise(readings, one)[5:] == pytest.approx([0.3, 4.4 + 0.2 / 3 - 4.2])
    gap = np.insert(readings, 3, np.nan)  # a night not read is passed over, and says nothing
    found = rise(gap, np.zeros(8, int))
    assert np.isnan(found[3])
    assert found[[6, 7]] == pytest.approx(rise(readings, one)[5:])
    other = np.array([1, 0, 0, 0, 0, 0, 0])
    assert np.isfinite(rise(readings, other)).tolist() == [False] * 6 + [True]


def test_how_often_the_plain_rule_is_wrong_when_nothing_rises() -> None:
    """What docs/protocol/washout.md says of it.

    The difference of two means of three has an SD of sqrt(2/3) night-to-night SDs, the threshold
    is half of one: Phi(0.5 / sqrt(2/3)) = 0.73 (arithmetic).
    """
    exact = stats.norm.cdf(0.5 / np.sqrt(2 / 3))
    assert exact == pytest.approx(0.73, abs=0.005)
    rng = np.random.default_rng(3)
    seasons = 4.0 + 0.1 * rng.standard_normal((4000, 6))
    share = np.mean([rise(six, np.zeros(6, int))[-1] <= 0.05 for six in seasons])
    assert share == pytest.approx(exact, abs=5 * np.sqrt(exact * (1 - exact) / 4000))


def test_both_rules_stand_side_by_side() -> None:
    readings: Any = np.full(NIGHTS, 4.0)
    readings[20:27], readings[27:], readings[22] = 3.8, 4.1, np.nan
    past = learnt(rowed(19, left=0.001, readings=readings)).past.isel(night=slice(-3, None))
    assert past["by_model"].values.tolist() == ["flat"] * 3
    # The latest three are at 4.1 and the three before at 3.8; a rise of 0.1 is over 0.05 too.
    assert past["rise_ln"].values == pytest.approx([0.1, 0.2, 0.3])
    assert past["by_plain_rule"].values.tolist() == ["rising"] * 3
    readings[27:] = 3.8
    past = learnt(rowed(19, left=0.001, readings=readings)).past
    assert np.isnan(past["rmssd_ms"].values[2])
    assert past["by_plain_rule"].values.tolist() == ["cannot say"] * 6 + ["no rise"] * 4


# What is still wanted.


def wanted(answer: LearntWashout) -> dict[str, Any]:
    return {row.what: (row.have, row.want, row.met) for row in answer.wanted}


def test_baseline_is_known_when_all_that_is_wanted_is_there() -> None:
    rng = np.random.default_rng(5)
    # The 80 % interval of a normal is 1.2816 SDs either way.
    for sd, met in ((0.03, True), (0.05, False)):
        level = 4.0 + sd * rng.standard_normal(1000)
        found = wanted(learnt(rowed(20, left=1e-6, level=level), level=0.5))
        have, want, enough = found["baseline_half_width_ln"]
        assert have == pytest.approx(1.2816 * sd, rel=0.15)
        assert (want, enough) == (pytest.approx(0.05), met)
        assert found["rest_nights_read"] == (8, 7, True)
        assert found["share_missing"] == (0.0, 0.25, True)
        assert found["chance_at_baseline"] == (1.0, 0.9, True)


def test_missing_nights_and_few_of_them_are_told() -> None:
    readings: Any = np.full(NIGHTS, 4.0)
    readings[[23, 25, 27]] = np.nan
    answer = learnt(rowed(20, left=0.2, readings=readings))
    found = wanted(answer)
    assert found["rest_nights_read"] == (5, 7, False)
    assert found["share_missing"] == (pytest.approx(3 / 8), 0.25, False)
    assert found["chance_at_baseline"] == (0.0, 0.9, False)
    assert state_of(answer, "every night read") == (
        "not met",
        Reason("nights not read", count=3),
    )


def test_nights_of_rest_before_the_first_reading_are_not_missing() -> None:
    season = by_hand.season(6, [(-10, "row")])
    rest = rest_of(season)
    assert (rest.nights, rest.read, rest.missing) == (14, 6, 0)
    answer = usual(6, [(-10, "row")])
    assert answer.rested_days == 14
    assert state_of(answer, "every night read")[0] == "met"


# What would spoil it.


def test_conditions_are_held_against_the_log_where_it_can_tell() -> None:
    answer = washout(rowed(20, left=0.01))
    states = {c.condition.code: c.state for c in answer.conditions}
    assert states == {
        "no training": "met",
        "every night read": "met",
        "no recovery measure": "met",
        "the same sensor": "open",  # readings.csv names none
        "nothing else that weighs": "open",
        "slept as usual": "open",
        "fed as usual": "open",
    }


@pytest.mark.parametrize(
    ("changed", "state"), [(10, ("met", ["strap"])), (25, ("not met", ["clip", "strap"]))]
)
def test_a_sensor_that_changes_during_the_rest(changed: int, state: tuple[str, list[str]]) -> None:
    sensors = ["clip"] * changed + ["strap"] * (NIGHTS - changed)
    answer = learnt(rowed(18, left=0.01, sensors=sensors, sensor_steps={"clip": 0.1}))
    said, names = state
    assert state_of(answer, "the same sensor") == (said, Reason("logged", names=names))
    assert np.isfinite(answer.past["rise_ln"].values[-1]) == (changed == 10)


def test_what_happened_before_the_last_session_does_not_count() -> None:
    readings: Any = np.full(NIGHTS, 4.0)
    readings[5:9] = np.nan
    season = by_hand.season(
        NIGHTS,
        [(3, "row"), (20, "row"), (20, "lift")],
        readings=readings,
        stressors=[(12, "cold"), (20, "cold")],
        interventions=[(18, "bath")],
    )
    rest = rest_of(season)
    assert rest.after == [("lift", "2031-03-21"), ("row", "2031-03-21")]
    assert (rest.first, rest.nights, rest.read, rest.quiet) == (22, 8, 8, 21)
    assert (rest.coming, rest.stressors, rest.measures, rest.reach) == ([], [], [], 0)


# Before there is a posterior.


def quadrature_of_the_priors(days: float) -> float:
    """The chance that the unlogged start is under the threshold, by Gauss-Hermite quadrature."""
    p = Priors()
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    rate = np.exp(p.start_rate.mean + p.start_rate.sd * nodes)
    gap = np.log(0.5) + p.noise_sd.mean - p.start_dip.mean + rate * days
    spread = np.hypot(p.start_dip.sd, p.noise_sd.sd)
    return float((weights * stats.norm.cdf(gap / spread)).sum() / weights.sum())


def test_general_experience_is_what_the_priors_say() -> None:
    answer = usual(1, days=20, chance=0.9)
    exact = [quadrature_of_the_priors(day) for day in range(1, 21)]
    error = 5 * np.sqrt(0.25 / 40_000)
    assert answer.coming["chance_at_baseline"].values == pytest.approx(exact, abs=error)
    assert answer.chance_at_baseline == pytest.approx(quadrature_of_the_priors(0), abs=error)
    first = 1 + int(np.argmax(np.array(exact) >= 0.9))
    assert answer.rest_days_in_all == first == 9


def test_the_same_holds_of_athletes_simulated_from_the_priors() -> None:
    """The share truly under their own threshold on the promised day, and the day before."""
    p, rng, days = Priors(), np.random.default_rng(12), 9
    plan = plan_season(
        "rest", pd.DataFrame({"date": pd.date_range("2031-01-06", periods=days + 1)})
    )
    back = []
    for _ in range(800):
        dip, rate, noise = (
            float(np.exp(b.mean + b.sd * rng.standard_normal()))
            for b in (p.start_dip, p.start_rate, p.noise_sd)
        )
        truth = Truth(60.0, {}, start=Impulse(dip, np.log(2) / rate), noise_sd=noise)
        back.append(simulate(truth, plan, rng).dip[-2:] <= 0.5 * noise)
    before, promised = np.mean(back, axis=0)
    error = 4 * np.sqrt(0.09 / 800)
    assert promised == pytest.approx(quadrature_of_the_priors(days), abs=error)
    assert 0.85 <= promised <= 0.95
    assert before < promised


def test_draws_from_the_priors_as_a_posterior_give_the_same_days() -> None:
    p, rng, size = Priors(), np.random.default_rng(8), 20_000
    dip, rate, noise = (
        np.exp(b.mean + b.sd * rng.standard_normal(size))
        for b in (p.start_dip, p.start_rate, p.noise_sd)
    )
    known = Known(
        dips_left={"unlogged start": dip}, start_half_life=np.log(2) / rate, noise_sd=noise
    )
    fitted = learnt(by_hand.athlete_of(by_hand.season(1), known, draws=size // 2), days=14)
    general = usual(1, days=14)
    assert fitted.coming["chance_at_baseline"].values == pytest.approx(
        general.coming["chance_at_baseline"].values, abs=0.02
    )


def test_rest_already_had_counts_in_general_experience() -> None:
    for nights, rested in ((1, 0), (6, 5), (30, 29)):
        answer = usual(nights)
        assert answer.rested_days == rested
        assert answer.further_rest_days == max(0, 6 - rested)
    # A session on day 3 is first felt on day 4, and the last reading is of day 9.
    answer = usual(10, [(3, "row")])
    assert answer.rested_days == 5
    assert answer.rest.after == on("row", "2031-03-04", "rest after")
    # Felt two days after the last reading: rest begins there.
    answer = usual(10, [(10, "row")])
    assert answer.further_rest_days == 2 + 6
    assert [reason.code for reason in answer.about.warnings] == [
        "general experience",
        "rest not begun",
    ]


def test_general_experience_says_that_it_is_that() -> None:
    answer = usual(5)
    assert answer.about.warnings == (Reason("general experience"),)
    found = as_object(answer)
    assert found["basis"] == "priors"
    assert found["rest_days_in_all"] == 6
    assert "past" not in found


# The command.


def test_answer_on_the_demo_season(demo: Fitted, demo_athlete: Athlete) -> None:
    result = CliRunner().invoke(cli, ["washout", str(demo.folder), "--json", "--days", "5"])
    found = json.loads(result.output)
    assert {"schema", "season", "last_night", "level", "warnings"} <= set(found)
    assert (found["basis"], found["season"]) == ("posterior", "demo")
    assert len(found["coming"]) == 5
    assert found.pop("next")["stage"] == "plan"
    assert found == as_object(washout(demo_athlete, 5))
    assert found["chance_wanted"] == 0.8
    chances = [found["chance_at_baseline"], *(c["chance_at_baseline"] for c in found["coming"])]
    assert chances[found["further_rest_days"]] >= 0.8
    assert all(chance < 0.8 for chance in chances[: found["further_rest_days"]])
    assert [p["date"] for p in found["past"]] == ["2031-07-04", "2031-07-05", "2031-07-06"]


def test_a_folder_with_a_few_nights_is_answered(demo: Fitted, tmp_path: Path) -> None:
    lines = (demo.folder / "readings.csv").read_text(encoding="utf-8").splitlines()[:5]
    (tmp_path / "readings.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = CliRunner().invoke(cli, ["washout", str(tmp_path)])
    assert result.exit_code == 0
    assert "general experience" in result.output


def test_a_posterior_that_cannot_be_trusted_is_not_replaced_by_experience(
    demo_copy: Path,
) -> None:
    season = by_hand.season(NIGHTS, [(3, "row")])
    bad = FitChecks(900, 4000, 1.0, 2000.0, 2000.0)
    with pytest.raises(NoAnswerError) as caught:
        washout(Athlete(season, by_hand.posterior(season, Known({"row": (0.2, 1)}), checks=bad)))
    assert caught.value.reasons[0] == Reason("divergences", count=900, draws=4000)
    shutil.copy(demo_copy / "stressors.csv", demo_copy / "kept.csv")
    (demo_copy / "stressors.csv").unlink()
    result = CliRunner().invoke(cli, ["washout", str(demo_copy)])
    assert isinstance(result.exception, NoAnswerError)
    assert result.exception.reasons == (Reason("edited since the fit", last_night="2031-07-06"),)
    assert read_season(demo_copy).stressors == []


@pytest.mark.parametrize("command", ["washout", "history"])
def test_answering_imports_neither_sampler_nor_plots(demo: Fitted, command: str) -> None:
    code = (
        "import sys; from slackwater.fitting.cli import cli\n"
        f"cli.main([{command!r}, {str(demo.folder)!r}, '--json'], standalone_mode=False)\n"
        "heavy = {'pymc', 'pytensor', 'numba', 'arviz', 'nutpie'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
