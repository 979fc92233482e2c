"""The ledger: all that was ever tested, each alone and all judged together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from slackwater.fitting import Athlete, trial_ledger
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.measures.shrinkage import shrink, without_prior
from slackwater.fitting.records.trials import Analysed, Looked, Stopped, Trial
from slackwater.fitting.trials.ledger import LedgerRow, TrialLedger
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import WRITTEN, day, plan, unfitted

NIGHTS = 60
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(18)]
STANDARD = np.random.default_rng(1).standard_normal(1000)
STANDARD = (STANDARD - STANDARD.mean()) / STANDARD.std()


Moments = tuple[float, float]


def tried(
    *trials: Trial, measures: Mapping[str, Moments] | None = None, now: Season | None = None
) -> Athlete:
    """An athlete with these trials, and measures logged.

    Args:
        trials: the trials.
        measures: posterior mean and SD of each measure's log rate ratio.
        now: the season as it is now; as it was fitted if left out.
    """
    learnt = measures or {}
    applied = [
        (d, name)
        for k, name in enumerate(learnt)
        for d in [date + 1 for at, (date, _) in enumerate(SESSIONS) if (at // 2 + k) % 2]
    ]
    ratios = {name: np.exp(m + s * STANDARD) for name, (m, s) in learnt.items()}
    season = by_hand.season(NIGHTS, SESSIONS, interventions=applied)
    known = Known({"row": (0.4, 2.0), "lift": (0.2, 1.0)}, rate_ratios=ratios)
    return Athlete(now or season, by_hand.posterior(season, known), trials=trials)


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


def at(answer: TrialLedger, measure: str) -> LedgerRow:
    return next(row for row in answer.rows if row.measure == measure)


def codes(answer: TrialLedger) -> list[str]:
    return [reason.code for reason in answer.about.warnings]


def test_measures_of_the_log_stand_beside_their_shrunk_selves() -> None:
    moments = {"river dip": (0.3, 0.12), "beet juice": (-0.1, 0.15), "nap": (0.05, 0.1)}
    athlete = tried(measures=moments)
    answer = trial_ledger(athlete)
    mean, sd = np.array(list(moments.values())).T
    expected = shrink(*without_prior(mean, sd, [Belief(0.0, 0.3)] * 3))
    for number, name in enumerate(["river dip", "beet juice", "nap"]):
        row, alone = at(answer, name), compare_intervention(athlete, name).rate_ratio
        assert row.rate_ratio_alone == alone
        middle = row.rate_ratio_together.median
        assert middle == pytest.approx(np.exp(expected.quantile(0.5)[number]), rel=1e-3)
        chance = expected.chance_above(0.0)[number]
        assert row.chance_faster_together == pytest.approx(chance, abs=1e-3)
    assert at(answer, "river dip").rate_ratio_together.median < np.exp(0.3)
    assert all(row.status == "no trial" for row in answer.rows)
    assert "used without a trial" in codes(answer)


def test_what_was_believed_beforehand_counts_once() -> None:
    moments = {"river dip": (0.15, 0.08), "nap": (0.02, 0.09)}
    athlete = tried(measures=moments)
    tight = Belief(0.0, 0.1)
    priors = Priors(log_rate_ratio=tight)
    believing = Athlete(athlete.season, replace(athlete.posterior, priors=priors))
    mean, sd = np.array(list(moments.values())).T
    expected = shrink(*without_prior(mean, sd, [tight, tight])).quantile(0.5)
    found = trial_ledger(believing)
    middles = [at(found, name).rate_ratio_together.median for name in ("river dip", "nap")]
    assert middles == pytest.approx(np.exp(expected), rel=1e-6)
    usual = at(trial_ledger(athlete), "river dip").rate_ratio_together.median
    assert usual < 0.9 * middles[0]  # the tight prior had pulled it already


def test_a_result_keeps_the_prior_it_was_judged_with() -> None:
    done = analysed(mean=0.15, sd=0.08).model_copy(update={"prior_mean": 0.0, "prior_sd": 0.1})
    expected = shrink(*without_prior(np.array([0.15]), np.array([0.08]), [Belief(0.0, 0.1)]))
    (row,) = trial_ledger(tried(Trial(plan(), [], done))).rows
    middle = np.exp(expected.quantile(0.5)[0])
    assert row.rate_ratio_together.median == pytest.approx(middle, rel=1e-6)


def test_an_analysed_trial_speaks_by_its_record() -> None:
    # What later use, outside the trial, made of it, is not asked.
    answer = trial_ledger(tried(Trial(plan(), [], analysed()), measures={"ice bath": (-0.2, 0.1)}))
    (row,) = answer.rows
    assert (row.status, row.basis, row.verdict) == ("analysed", "trial", "faster")
    assert row.rate_ratio_alone.median == pytest.approx(np.exp(0.35))


def test_an_open_trial_shows_no_result() -> None:
    moments: dict[str, Moments] = {"ice bath": (0.4, 0.05), "nap": (0.0, 0.1)}
    answer = trial_ledger(tried(Trial(plan(10)), measures=moments))
    row = at(answer, "ice bath")
    assert (row.status, row.basis) == ("running", None)
    assert np.all(np.isnan([*row.rate_ratio_alone, *row.rate_ratio_together]))
    assert np.all(np.isnan([row.chance_faster_alone, row.chance_faster_together]))
    assert np.isfinite(at(answer, "nap").rate_ratio_alone.low)
    planned = trial_ledger(tried(Trial(plan(NIGHTS + 3)), measures=moments))
    assert at(planned, "ice bath").status == "planned"


def test_a_stopped_trial_speaks_by_the_log_unless_the_measure_is_on_trial_again() -> None:
    given_up = Trial(plan(10), stopped=Stopped(trial=1, written=WRITTEN, because="a broken tub"))
    (row,) = trial_ledger(tried(given_up, measures={"ice bath": (0.1, 0.1)})).rows
    assert (row.status, row.basis, row.because) == ("stopped", "log", "a broken tub")
    assert row.rate_ratio_alone.median == pytest.approx(np.exp(0.1), rel=0.01)
    again = trial_ledger(
        tried(given_up, Trial(plan(30, trial=2)), measures={"ice bath": (0.1, 0.1)})
    )
    assert np.all(np.isnan([row.rate_ratio_alone for row in again.rows]))


def test_what_the_fit_has_not_seen_is_shown_and_marked() -> None:
    later = by_hand.season(
        NIGHTS + 20, SESSIONS, interventions=[*NAPS, (NIGHTS - 1, "nap"), (NIGHTS + 3, "sauna")]
    )
    answer = trial_ledger(
        tried(Trial(plan(), [], analysed()), now=later, measures={"nap": (0.2, 0.1)})
    )
    assert [row.needs_fit for row in answer.rows] == [False, False, True]
    sauna = at(answer, "sauna")
    assert (sauna.status, sauna.basis) == ("no trial", None)
    assert np.isfinite([row.rate_ratio_alone for row in answer.rows[:2]]).all()
    assert np.isnan(sauna.rate_ratio_together).all()
    assert answer.about.last_night == later.last_night
    assert Reason("not in the fit yet", measures=["sauna"]) in answer.about.warnings
    behind = Reason("log told up to the fit", last_night=str(day(NIGHTS - 1)))
    assert behind in answer.about.warnings


NAPS = [(date + 1, "nap") for k, (date, _) in enumerate(SESSIONS) if k // 2 % 2]
SEASON = by_hand.season(NIGHTS, SESSIONS, interventions=NAPS)


def test_without_any_fit_the_record_is_shown() -> None:
    answer = trial_ledger(unfitted(SEASON, Trial(plan(), [], analysed())))
    assert answer.rows[0].rate_ratio_alone.median == pytest.approx(np.exp(0.35))
    assert [row.needs_fit for row in answer.rows] == [False, True]
    nothing = trial_ledger(unfitted(SEASON, Trial(plan(10))))
    assert np.isnan([row.rate_ratio_together for row in nothing.rows]).all()
    assert nothing.faster == ()


def test_looks_are_told() -> None:
    look = Looked(trial=1, written=WRITTEN, last_night=day(30).astype(object), sessions_with=2,
                  sessions_without=2)  # fmt: skip
    answer = trial_ledger(
        tried(Trial(plan(), [look, look], analysed()), measures={"nap": (0.0, 0.1)})
    )
    assert at(answer, "ice bath").looks == 2
    looked = Reason("looked at before its end", measure="ice bath", looks=2)
    assert looked in answer.about.warnings


def test_nothing_ever_tested() -> None:
    with pytest.raises(NoAnswerError) as caught:
        trial_ledger(tried())
    assert caught.value.reasons == (Reason("nothing ever tested"),)
