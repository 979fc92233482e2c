"""The ledger: all that was ever tested, each alone and all judged together."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
import xarray as xr
from rich.console import Console

from slackwater.fitting import Standing, trial_ledger
from slackwater.fitting.answers.compare import compare_intervention
from slackwater.fitting.records.trials import Analysed, Looked, Stopped, Trial
from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.trials.shrinkage import shrink, without_prior
from slackwater.model.errors import NoAnswerError
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import WRITTEN, day, plan

NIGHTS = 60
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(18)]
STANDARD = np.random.default_rng(1).standard_normal(1000)
STANDARD = (STANDARD - STANDARD.mean()) / STANDARD.std()


def state(**log_ratios: tuple[float, float]) -> Standing:
    """A season with these measures, each with its posterior mean and SD."""
    names = {name: name.replace("_", " ") for name in log_ratios}
    applied = [
        (d, names[name])
        for k, name in enumerate(log_ratios)
        for d in [date + 1 for at, (date, _) in enumerate(SESSIONS) if (at // 2 + k) % 2]
    ]
    ratios = {names[name]: np.exp(m + s * STANDARD) for name, (m, s) in log_ratios.items()}
    season = by_hand.season(NIGHTS, SESSIONS, interventions=applied)
    known = Known({"row": (0.4, 2.0), "lift": (0.2, 1.0)}, rate_ratios=ratios)
    return by_hand.standing_of(season, known)


def analysed(number: int = 1, mean: float = 0.35, sd: float = 0.12) -> Analysed:
    return Analysed(
        trial=number,
        written=WRITTEN,
        last_night=day(50).astype(object),
        sessions_with=4,
        sessions_without=4,
        verdict="faster",
        log_rate_ratio_mean=mean,
        log_rate_ratio_sd=sd,
        chance_worth_having=0.9,
        p_value=0.03,
    )


def rows(answer: xr.Dataset) -> dict[str, dict[str, Any]]:
    return {row["measure"]: row for row in answer.attrs["rows"]}


def at(answer: xr.Dataset, measure: str) -> xr.Dataset:
    return answer.isel(row=list(rows(answer)).index(measure))


def printed(answer: xr.Dataset) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), answer)
    assert max(map(len, screen.getvalue().splitlines())) <= 80
    return " ".join(screen.getvalue().split())


def test_measures_of_the_log_stand_beside_their_shrunk_selves() -> None:
    moments = {"river_dip": (0.3, 0.12), "beet_juice": (-0.1, 0.15), "nap": (0.05, 0.1)}
    now = state(**moments)
    answer = trial_ledger(now, [])
    mean, sd = np.array(list(moments.values())).T
    expected = shrink(*without_prior(mean, sd, 0.0, 0.3))
    for row, name in enumerate(["river dip", "beet juice", "nap"]):
        alone = compare_intervention(now, name)["rate_ratio"]
        # The same but for normal quantiles in place of the draws'.
        assert at(answer, name)["alone"].values == pytest.approx(alone.values, rel=0.02)
        middle = float(at(answer, name)["together"].sel(bound="median"))
        assert middle == pytest.approx(np.exp(expected.quantile(0.5)[row]), rel=1e-3)
        chance = float(at(answer, name)["chance_faster_together"])
        assert chance == pytest.approx(expected.chance_above(0.0)[row], abs=1e-3)
    assert float(at(answer, "river dip")["together"].sel(bound="median")) < np.exp(0.3)
    assert all(row["status"] == "no trial" for row in answer.attrs["rows"])
    assert any(
        "without a trial were used when the athlete chose" in w for w in answer.attrs["warnings"]
    )


def test_an_analysed_trial_speaks_by_its_record() -> None:
    now = state(ice_bath=(-0.2, 0.1))  # what later use, outside the trial, made of it
    done = Trial(plan(), [], analysed())
    answer = trial_ledger(now, [done])
    (row,) = answer.attrs["rows"]
    assert (row["status"], row["basis"], row["verdict"]) == ("analysed", "trial", "faster")
    assert float(answer["alone"][0].sel(bound="median")) == pytest.approx(np.exp(0.35))


def test_an_open_trial_shows_no_result() -> None:
    now = state(ice_bath=(0.4, 0.05), nap=(0.0, 0.1))
    answer = trial_ledger(now, [Trial(plan(10))])
    row = rows(answer)["ice bath"]
    assert (row["status"], row["basis"]) == ("running", None)
    assert np.all(np.isnan(answer["alone"][0]))
    assert np.isnan(float(answer["chance_faster"][0]))
    assert np.isfinite(float(answer["alone"][1][0]))
    planned = trial_ledger(now, [Trial(plan(NIGHTS + 3))])
    assert rows(planned)["ice bath"]["status"] == "planned"
    assert as_object(answer)["rows"][0]["rate_ratio_together"]["median"] is None
    assert "not yet" in printed(answer)


def test_a_stopped_trial_speaks_by_the_log_unless_the_measure_is_on_trial_again() -> None:
    now = state(ice_bath=(0.1, 0.1))
    given_up = Trial(plan(10), stopped=Stopped(trial=1, written=WRITTEN, because="a broken tub"))
    answer = trial_ledger(now, [given_up])
    (row,) = answer.attrs["rows"]
    assert (row["status"], row["basis"]) == ("stopped", "log")
    assert float(answer["alone"][0].sel(bound="median")) == pytest.approx(np.exp(0.1))
    assert "stopped: a broken tub" in printed(answer)
    again = trial_ledger(now, [given_up, Trial(plan(30, trial=2))])
    assert np.all(np.isnan(again["alone"]))


def test_what_the_fit_has_not_seen_is_shown_and_marked() -> None:
    now = state(nap=(0.2, 0.1))
    later = by_hand.season(
        NIGHTS + 20, SESSIONS, interventions=[(5, "nap"), (40, "nap"), (NIGHTS + 3, "sauna")]
    )
    done = Trial(plan(), [], analysed())
    answer = trial_ledger(now, [done], season=later)
    told = rows(answer)
    assert [row["needs_fit"] for row in told.values()] == [False, False, True]
    assert (told["sauna"]["status"], told["sauna"]["basis"]) == ("no trial", None)
    assert np.isfinite(answer["alone"].values[:2]).all()
    assert np.isnan(answer["together"].values[2]).all()
    assert answer.attrs["last_night"] == str(later.last_night)
    assert any(w.startswith("Not in the fit yet: 'sauna'.") for w in answer.attrs["warnings"])
    assert any("is told up to" in w for w in answer.attrs["warnings"])
    assert "needs a fit" in printed(answer)


def test_without_any_fit_the_record_is_shown() -> None:
    season = state(nap=(0.2, 0.1)).season
    answer = trial_ledger(season, [Trial(plan(), [], analysed())])
    assert float(answer["alone"][0].sel(bound="median")) == pytest.approx(np.exp(0.35))
    assert [row["needs_fit"] for row in answer.attrs["rows"]] == [False, True]
    nothing = trial_ledger(season, [Trial(plan(10))])
    assert np.isnan(nothing["together"].values).all()
    assert nothing.attrs["faster"] == []


def test_looks_are_told() -> None:
    look = Looked(trial=1, written=WRITTEN, last_night=day(30).astype(object), sessions_with=2,
                  sessions_without=2)  # fmt: skip
    answer = trial_ledger(state(nap=(0.0, 0.1)), [Trial(plan(), [look, look], analysed())])
    assert rows(answer)["ice bath"]["looks"] == 2
    assert any("were looked at 2 times before its end" in w for w in answer.attrs["warnings"])
    assert "2 interim looks" in printed(answer)


def ten(lucky: float) -> tuple[Standing, Sequence[Trial]]:
    others = {f"idea_{k}": (0.02 * (k - 4), 0.1) for k in range(9)}
    return state(**others, lucky=(lucky, 0.1)), []


def test_the_lucky_tenth_is_a_hint_and_a_strong_one_stands() -> None:
    answer = trial_ledger(*ten(0.21))
    assert float(at(answer, "lucky")["chance_faster"]) >= 0.975
    assert float(at(answer, "lucky")["chance_faster_together"]) < 0.975
    assert answer.attrs["faster"] == []
    assert any(w.startswith("'lucky' looks faster by itself") for w in answer.attrs["warnings"])
    strong = trial_ledger(*ten(0.6))
    assert strong.attrs["faster"] == ["lucky"]
    assert "Faster, among all that was tried: lucky." in printed(strong)


def test_nothing_ever_tested() -> None:
    with pytest.raises(NoAnswerError, match="No measure was ever tested"):
        trial_ledger(state(), [])
