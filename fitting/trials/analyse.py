"""What a trial found: by the model, by a test without a model, and by its own rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import VERDICT_RULE, compare_intervention
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import Analysed, Looked, Planned, Trial
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials import effect
from slackwater.fitting.trials.guards import guards, missed, strayed, trial_answer
from slackwater.fitting.trials.randomisation import (
    FEWEST_PAIRS,
    Pairs,
    pairs_of,
    randomisation_test,
)
from slackwater.fitting.trials.stretches import (
    Stretch,
    assigned,
    assigned_days,
    counted,
    logged_days,
    planned_part,
    stretches_of,
    trial_season,
)
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season

FEWEST_SESSIONS: Final = 2  # of each arm, for a look
NOT_DUE: Final = "not due yet"

Ask = Callable[[Season], Standing]


class Due(NamedTuple):
    """What a trial is judged from.

    Attributes:
        stretches: the recovery stretches that take part.
        complete: whether the planned number is reached.
        reached: stretches of each arm that tell of recovery.
    """

    stretches: list[Stretch]
    complete: bool
    reached: dict[Arm, int]


def due(season: Season, trial: Trial, *, peek: bool = False) -> Due:
    """Return what a trial is judged from, once it may be.

    Args:
        season: the season as it is now.
        trial: the trial.
        peek: whether an interim look was asked for.

    Raises:
        NoAnswerError: the trial was stopped, or the planned number is not reached and no
            look was asked for, or there is nothing to look at.
    """
    plan = trial.plan
    if trial.stopped is not None:
        raise NoAnswerError(
            f"The trial of {plan.measure!r} was stopped ({trial.stopped.because}), so its rule "
            "gives no verdict. What its days tell without one: slackwater compare SEASON_FOLDER "
            f'--intervention "{plan.measure}"'
        )
    begun = stretches_of(season, assigned(plan))
    part = planned_part(begun, plan.sessions_per_arm)
    if part is not None:
        return Due(part, True, counted(part))
    begun = [s for s in begun if s.over]
    reached = counted(begun)
    so_far = (
        f"{reached[WITH]} sessions with and {reached[WITHOUT]} without {plan.measure!r} tell of "
        f"recovery so far; the plan is {plan.sessions_per_arm} of each"
    )
    if not peek:
        raise NoAnswerError(
            f"{so_far}. Results before that are not shown: who stops at a lucky moment finds what "
            "is not there. --peek shows them, and is kept in the record."
        )
    if min(reached.values()) < FEWEST_SESSIONS:
        raise NoAnswerError(f"{so_far}. That is too little for a look.")
    return Due(begun, False, reached)


def analyse_trial(
    season: Season,
    trial: Trial,
    ask: Ask,
    *,
    peek: bool = False,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer what a trial found.

    The verdict is about the measure as assigned: skipping it on the better or the worse
    days cannot tilt that. The same as used, by the log, stands beside it.

    Args:
        season: the season as it is now.
        trial: the trial.
        ask: fits a season and returns where the athlete stands.
        peek: show interim results before the planned number is reached.
        level: credible mass of every interval.

    Returns:
        `rate_ratio` and `rate_ratio_as_used` (bound), `days_saved` (type, bound),
        `typical_days_saved` (bound; a typical session of the trial's types),
        `chance_faster`, `chance_worth_having`, `log_rate_ratio_mean`, `log_rate_ratio_sd`,
        `sessions_with`, `sessions_without`, `used_when_assigned`, `unused_when_not`
        (shares of days), and of the randomisation test `pairs`, `difference_ln`,
        `difference_se_ln`, `possible_orders`, `p_value` (NaN where there are too few
        pairs). Attributes `verdict`, `verdict_rule`, `measure`, `complete`, `last_judged`.

    Raises:
        NoAnswerError: see `due`; or the data do not support a comparison.
    """
    check_level(level)
    plan = trial.plan
    judged = due(season, trial, peek=peek)
    by_lot = trial_season(season, plan.measure, judged.stretches, as_assigned=True)
    now = ask(by_lot)
    compared = compare_intervention(now, plan.measure, level)
    log_ratio = _log_ratio(now, plan)
    saved = effect.days_saved(effect.typical_session(now, plan.types), log_ratio)
    data = xr.Dataset(
        {
            "rate_ratio": compared["rate_ratio"],
            "rate_ratio_as_used": _as_used(season, judged, plan, ask, by_lot, compared, level),
            "days_saved": compared["days_saved"],
            "typical_days_saved": interval(saved, level),
            "chance_faster": compared["chance_faster"],
            "chance_worth_having": float((saved >= plan.smallest_days).mean()),
            "log_rate_ratio_mean": float(log_ratio.mean()),
            "log_rate_ratio_sd": float(log_ratio.std()),
            "sessions_with": judged.reached[WITH],
            "sessions_without": judged.reached[WITHOUT],
            **_adherence(season, judged, plan, by_lot.last_night),
            **_without_model(pairs_of(by_lot, judged.stretches), plan),
        }
    )
    warnings = [*now.warnings, *_warnings(season, trial, judged, data, by_lot.last_night)]
    return trial_answer(
        data,
        "trial analyse",
        season,
        level,
        warnings,
        measure=plan.measure,
        trial=plan.trial,
        smallest=plan.smallest_days,
        sessions_per_arm=plan.sessions_per_arm,
        complete=judged.complete,
        last_judged=str(by_lot.last_night),
        verdict=compared.attrs["verdict"] if judged.complete else NOT_DUE,
        verdict_rule=plan.verdict_rule,
        looks=len(trial.looks) + (not judged.complete),
    )


def to_record(answer: xr.Dataset, written: dt.datetime) -> Looked | Analysed:
    """Return the event that an analysis is kept as."""
    facts = answer.attrs
    shared = {
        "trial": facts["trial"],
        "written": written,
        "last_night": dt.date.fromisoformat(facts["last_judged"]),
        "sessions_with": int(answer["sessions_with"]),
        "sessions_without": int(answer["sessions_without"]),
    }
    if not facts["complete"]:
        return Looked(**shared)
    p_value = float(answer["p_value"])
    return Analysed(
        **shared,
        verdict=facts["verdict"],
        log_rate_ratio_mean=float(answer["log_rate_ratio_mean"]),
        log_rate_ratio_sd=float(answer["log_rate_ratio_sd"]),
        chance_worth_having=float(answer["chance_worth_having"]),
        p_value=p_value if np.isfinite(p_value) else None,
    )


def latest_trial(trials: Sequence[Trial]) -> Trial:
    """Return the trial to analyse: the open one, else the last one planned.

    Raises:
        NoAnswerError: none was ever planned.
    """
    if not trials:
        raise NoAnswerError(
            "No trial was planned in this season; plan one with: slackwater trial plan "
            "SEASON_FOLDER --measure NAME"
        )
    return next((t for t in trials if t.open), trials[-1])


def _log_ratio(now: Standing, plan: Planned) -> np.ndarray:
    known = [str(i) for i in now.draws[n.INTERVENTION].values]
    return now.parameter(n.LOG_RATE_RATIO)[:, known.index(plan.measure)]


def _as_used(
    season: Season,
    judged: Due,
    plan: Planned,
    ask: Ask,
    by_lot: Season,
    compared: xr.Dataset,
    level: float,
) -> xr.DataArray:
    """Return the rate ratio by the days logged; NaN where those cannot tell."""
    as_used = trial_season(season, plan.measure, judged.stretches, as_assigned=False)
    if as_used.fingerprint() == by_lot.fingerprint():
        return compared["rate_ratio"]
    nothing = compared["rate_ratio"] * np.nan
    if plan.measure not in as_used.observed().interventions:
        return nothing
    try:
        return compare_intervention(ask(as_used), plan.measure, level)["rate_ratio"]
    except NoAnswerError:
        return nothing


def _adherence(season: Season, judged: Due, plan: Planned, last: np.datetime64) -> dict[str, float]:
    logged = logged_days(season, plan.measure)
    shares = {}
    for name, arm, wanted in (
        ("used_when_assigned", WITH, True),
        ("unused_when_not", WITHOUT, False),
    ):
        days = assigned_days(judged.stretches, arm)
        days = days[days < last]
        shares[name] = float((np.isin(days, logged) == wanted).mean()) if len(days) else np.nan
    return shares


def _without_model(pairs: Pairs, plan: Planned) -> dict[str, float]:
    names = ("difference_ln", "difference_se_ln", "possible_orders", "p_value")
    count = len(pairs.order)
    if count < FEWEST_PAIRS:
        return {"pairs": count, **dict.fromkeys(names, np.nan)}
    found = randomisation_test(pairs, np.random.default_rng(plan.seed))
    values = (found.difference, found.standard_error, float(found.possible), found.p_value)
    return {"pairs": count, **dict(zip(names, values, strict=True))}


def _warnings(
    season: Season, trial: Trial, judged: Due, data: xr.Dataset, last: np.datetime64
) -> list[str]:
    plan = trial.plan
    said = guards(season, trial, judged.stretches)
    skipped = len(missed(season, trial, judged.stretches, last))
    added = len(strayed(season, trial, judged.stretches, last))
    if skipped or added:
        said.append(
            f"The log differs from what was assigned: not logged on {skipped} of the days with, "
            f"logged on {added} other days of the trial. The verdict goes by what was assigned, "
            "which makes an effect look smaller."
        )
    if int(data["pairs"]) < FEWEST_PAIRS:
        said.append(
            f"{int(data['pairs'])} complete pairs are too few for the randomisation test, which "
            f"needs {FEWEST_PAIRS}."
        )
    if plan.verdict_rule != VERDICT_RULE:
        said.append(
            "The rule fixed in the plan is not the one that this version judges by: "
            f"{VERDICT_RULE}."
        )
    if not judged.complete:
        said.append(
            "This is a look before the planned number is reached, and is kept in the record. The "
            "trial goes on to its planned end, whatever it shows."
        )
    before = trial.analysed
    if before is not None and judged.complete:
        moved = abs(before.log_rate_ratio_mean - float(data["log_rate_ratio_mean"]))
        if moved > 0.25 * before.log_rate_ratio_sd:  # more than another run of the sampler moves it
            said.append(
                f"The result in the record ({before.verdict}, {before.written:%Y-%m-%d}) came from "
                "other data: the season was edited since. The record keeps the first."
            )
    return said
