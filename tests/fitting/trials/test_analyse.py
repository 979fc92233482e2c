"""What a trial found, on fits made by hand: due or not, the verdict, adherence, the record."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import numpy as np
import pytest
import xarray as xr
from rich.console import Console

from slackwater.fitting import Standing, analyse_trial
from slackwater.fitting.answers.compare import compare_intervention
from slackwater.fitting.records.trials import Analysed, Looked, Stopped, Trial
from slackwater.fitting.report.as_json import as_object
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.trials.analyse import due, latest_trial, to_record
from slackwater.fitting.trials.items import report_items
from slackwater.fitting.trials.stretches import assigned, assigned_days, stretches_of
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, day, plan, season, trial

# Rows leave 6 days to shorten, lifts 2: (0.6 * 6 + 0.4 * 2) = 4.4 of the plan's typical session.
TYPES = {"row": (0.4, 2.0), "lift": (0.2, 1.0)}
PER_ARM = 6
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(14)]
NIGHTS = 60
RATIOS = np.exp(np.linspace(0.02, 0.6, 1000))


def used() -> list[int]:
    """The days on which the lots say to use the measure."""
    found = stretches_of(season(NIGHTS, SESSIONS), assigned(plan(0, PER_ARM)))
    return [int((d - day(0)) / DAY) for d in assigned_days(found, "with")]


class Fits:
    """Answers from fits made by hand, and keeps what it was asked about."""

    def __init__(self, ratio: Any = RATIOS) -> None:
        self.ratio = ratio
        self.asked: list[Season] = []

    def __call__(self, fitted: Season) -> Standing:
        self.asked.append(fitted)
        ratios = {name: self.ratio if name == MEASURE else 1.0 for name in fitted.interventions}
        return by_hand.standing_of(fitted, Known(TYPES, rate_ratios=ratios))


def analysed(made: Season | None = None, fits: Fits | None = None, **asked: Any) -> xr.Dataset:
    made = season(NIGHTS, SESSIONS, used()) if made is None else made
    return analyse_trial(made, trial(0, PER_ARM), fits or Fits(), **asked)


def printed(answer: xr.Dataset) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), answer)
    assert max(map(len, screen.getvalue().splitlines())) <= 80
    return " ".join(screen.getvalue().split())


def test_the_numbers_are_those_of_the_fit() -> None:
    fits = Fits()
    answer = analysed(fits=fits)
    compared = compare_intervention(fits(fits.asked[0]), MEASURE)
    for name in ("rate_ratio", "days_saved"):
        xr.testing.assert_equal(answer[name], compared[name])
    saved = 4.4 * (1 - 1 / RATIOS)
    assert answer["typical_days_saved"].values == pytest.approx(np.quantile(saved, [0.1, 0.5, 0.9]))
    assert float(answer["chance_worth_having"]) == pytest.approx((saved >= 0.5).mean())
    assert float(answer["log_rate_ratio_mean"]) == pytest.approx(np.log(RATIOS).mean())
    assert float(answer["log_rate_ratio_sd"]) == pytest.approx(np.log(RATIOS).std())
    assert answer.attrs["verdict"] == "faster"
    assert answer.attrs["complete"]
    assert answer.attrs["warnings"] == []


def test_followed_to_the_letter_one_fit_tells_both() -> None:
    fits = Fits()
    answer = analysed(fits=fits)
    assert len(fits.asked) == 1
    xr.testing.assert_equal(answer["rate_ratio"], answer["rate_ratio_as_used"])
    assert float(answer["used_when_assigned"]) == float(answer["unused_when_not"]) == 1.0


def test_the_verdict_goes_by_what_was_assigned() -> None:
    days = used()
    fits = Fits()
    made = season(NIGHTS, SESSIONS, [*days[5:], 1, 2])  # 0 to 2 are without
    answer = analysed(made, fits)
    by_lot, as_used = fits.asked
    assert by_lot.applied().sum() > as_used.applied().sum() - 2
    assert float(answer["used_when_assigned"]) == pytest.approx(13 / 18)  # of 18 days judged
    assert float(answer["unused_when_not"]) < 1.0
    (said,) = answer.attrs["warnings"]
    assert said.startswith("The log differs from what was assigned: not logged on 5 of the days")
    assert "logged on 2 other days" in said


def test_a_log_without_the_measure_still_has_a_verdict() -> None:
    answer = analysed(season(NIGHTS, SESSIONS))
    assert answer.attrs["verdict"] == "faster"
    assert np.all(np.isnan(answer["rate_ratio_as_used"]))
    assert float(answer["used_when_assigned"]) == 0.0
    assert "the same, as used the log cannot tell" in printed(answer)
    assert as_object(answer)["rate_ratio_as_used"]["median"] is None


def test_nothing_after_the_planned_end_changes_the_result() -> None:
    fits = Fits()
    analysed(fits=fits)
    more = [*SESSIONS, (45, "row"), (50, "lift"), (54, "row")]
    analysed(season(70, more, [*used(), 50, 51, 52]), fits)
    assert fits.asked[0].fingerprint() == fits.asked[1].fingerprint()
    assert fits.asked[0].last_night < day(NIGHTS - 1)


def test_before_the_planned_number_nothing_is_shown() -> None:
    early = season(26, SESSIONS[:8], used())
    with pytest.raises(NoAnswerError, match="4 sessions with and 4 without 'ice bath'") as caught:
        analysed(early)
    assert "the plan is 6 of each" in str(caught.value)
    assert "--peek shows them, and is kept in the record" in str(caught.value)


def test_a_look_is_no_verdict_and_is_kept() -> None:
    answer = analysed(season(26, SESSIONS[:8], used()), peek=True)
    assert answer.attrs["verdict"] == "not due yet"
    assert answer.attrs["looks"] == 1
    assert any("a look before the planned number" in w for w in answer.attrs["warnings"])
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Looked)
    assert (event.sessions_with, event.sessions_without) == (4, 4)
    assert event.last_night == day(25).astype(object)
    with pytest.raises(NoAnswerError, match="too little for a look"):
        analysed(season(8, SESSIONS[:2], used()), peek=True)


def test_a_look_when_it_is_due_is_an_analysis() -> None:
    answer = analysed(peek=True)
    assert answer.attrs["complete"]
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Analysed)
    assert event.verdict == "faster"
    assert event.log_rate_ratio_mean == pytest.approx(np.log(RATIOS).mean())
    assert event.p_value == float(answer["p_value"])
    assert event.last_night == dt.date.fromisoformat(answer.attrs["last_judged"])


def test_a_stopped_trial_has_no_verdict() -> None:
    given_up = Trial(plan(0, PER_ARM))
    given_up.stopped = Stopped(trial=1, written=WRITTEN, because="a broken tub")
    with pytest.raises(NoAnswerError, match=r"was stopped \(a broken tub\)"):
        due(season(NIGHTS, SESSIONS), given_up, peek=True)


def test_the_trial_to_analyse_is_the_open_one_or_the_last() -> None:
    first, second = trial(), Trial(plan(30, trial=2))
    first.stopped = Stopped(trial=1, written=WRITTEN, because="-")
    assert latest_trial([first, second]) is second
    second.stopped = first.stopped
    assert latest_trial([first, second]) is second
    with pytest.raises(NoAnswerError, match="No trial was planned"):
        latest_trial([])


def test_another_result_than_the_record_keeps_is_said() -> None:
    kept = trial(0, PER_ARM)
    first = analyse_trial(season(NIGHTS, SESSIONS, used()), kept, Fits())
    event = to_record(first, WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    again = analyse_trial(season(NIGHTS, SESSIONS, used()), kept, Fits())
    assert again.attrs["warnings"] == []
    other = analyse_trial(season(NIGHTS, SESSIONS, used()), kept, Fits(RATIOS**0.2))
    assert any("came from other data" in w for w in other.attrs["warnings"])


def test_the_test_without_a_model_sees_the_readings() -> None:
    made = season(NIGHTS, SESSIONS, used())
    level = np.full(NIGHTS, 4.0)
    for stretch in stretches_of(made, assigned(plan(0, PER_ARM))):
        level[np.isin(made.nights, stretch.mornings)] += 0.1 * (stretch.arm == "with")
    answer = analysed(made.with_readings(level))
    assert int(answer["pairs"]) == 6
    assert float(answer["difference_ln"]) == pytest.approx(0.1)
    assert float(answer["p_value"]) == 2 / 2**6
    assert float(answer["possible_orders"]) == 64
    assert "+10.5 % (SE 0.0), p = 0.031, 6 pairs" in printed(answer)


def test_too_few_pairs_for_a_test() -> None:
    small = trial(0, 3)
    answer = analyse_trial(season(NIGHTS, SESSIONS, used()), small, Fits())
    assert np.isnan(float(answer["p_value"]))
    assert any("are too few for the randomisation test" in w for w in answer.attrs["warnings"])
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Analysed)
    assert event.p_value is None
    assert as_object(answer)["randomisation_test"]["p_value"] is None


def test_a_rule_of_another_version_is_said() -> None:
    old = Trial(plan(0, PER_ARM, verdict_rule="by the look of it"))
    answer = analyse_trial(season(NIGHTS, SESSIONS, used()), old, Fits())
    assert any("not the one that this version judges by" in w for w in answer.attrs["warnings"])
    assert answer.attrs["verdict_rule"] == "by the look of it"


def test_the_items_of_a_report_know_the_record() -> None:
    made = season(NIGHTS, SESSIONS, [*used(), 1])
    kept = trial(0, PER_ARM)
    items = {row["item"]: row["record"] for row in report_items(made, kept).attrs["items"]}
    assert items["17"] == "not analysed yet"
    assert "SHA-256 of seed 1" in items["8a"]
    event = to_record(analyse_trial(made, kept, Fits()), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    answer = report_items(made, kept)
    items = {row["item"]: row["record"] for row in answer.attrs["items"]}
    assert items["17"].startswith("faster; log rate ratio 0.31 (SD 0.17), randomisation test p")
    assert items["18"] == "not used on 0 days assigned, used on 1 others"
    assert items["7a"].startswith("6 sessions per arm: a chance of 81 % of the verdict")
    shown = printed(answer)
    assert "after CENT 2015 (Vohra et al., BMJ 2015;350:h1738)" in shown
    assert len(as_object(answer)["items"]) == len(items) == 29
