"""Recovery with and without a measure, and one type or attribute against another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.recovery import log_dips, typical_days
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.support import confounded_types
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints, days_to_recover
from slackwater.model.errors import NoAnswerError, unknown_name
from slackwater.model.season import Season

SURE: Final = 0.975
SAME_WITHIN: Final = 1.1  # rate ratios closer to 1 than this factor make no difference
SAME_CHANCE: Final = 0.9
FEWEST_NIGHTS: Final = 5
VERDICT_RULE: Final = (
    "no meaningful difference when the chance is at least 90 % that the rate ratio lies between "
    "1/1.1 and 1.1; otherwise faster or slower when the chance of it is at least 97.5 %; "
    "otherwise undecided"
)


def compare_intervention(
    now: Standing, name: str, level: float = DEFAULT_LEVEL, trials: Sequence[Trial] = ()
) -> xr.Dataset:
    """Answer whether recovery is faster with one intervention than without it.

    A session counts as with the intervention when it acted on the night after the
    session's first: the first night's dip is the session's own, and the intervention
    works on what is left of it.

    Args:
        now: the state, from `standing`.
        name: the intervention.
        level: credible mass of every interval.
        trials: the season's trials; while one of this intervention runs, nothing is told.

    Returns:
        `rate_ratio` (with `bound`; recovery rate with over without), `chance_faster`,
        `days_saved` (type, bound), `nights_with`, `nights_without`, `sessions_with`,
        `sessions_without`. Attributes `intervention`, `verdict`, `verdict_rule`.

    Raises:
        QuestionError: unknown to the fit.
        NoAnswerError: used on hardly any or all but all nights, or after some types only; or on
            trial, and not judged yet.
    """
    refuse_on_trial(now.season, name, trials)
    known = _labels(now, n.INTERVENTION)
    if name not in known:
        raise unknown_name("intervention", name, known)
    acts, first_nights = _acting(now, name)
    with_it = _nights_after(first_nights, acts)
    log_ratio = now.parameter(n.LOG_RATE_RATIO)[:, known.index(name)]
    counted = {
        "nights_with": int(acts.sum()),
        "nights_without": int((~acts).sum()),
        "sessions_with": int(with_it.sum()),
        "sessions_without": int((~with_it).sum()),
    }
    _refuse_one_sided(name, counted)
    data = xr.Dataset(
        {
            "rate_ratio": interval(np.exp(log_ratio), level),
            "chance_faster": float((log_ratio > 0).mean()),
            "days_saved": interval(_days_saved(now, log_ratio), level, (n.TYPE,)),
            **counted,
        },
        coords={n.TYPE: _labels(now, n.TYPE)},
    )
    return answer(
        data,
        "compare intervention",
        now,
        level,
        _one_type_only(now, name, with_it),
        intervention=name,
        verdict=verdict(log_ratio),
        verdict_rule=VERDICT_RULE,
    )


def verdict(log_ratio: Floats) -> str:
    """Return the verdict on a measure by `VERDICT_RULE`, from draws of the log rate ratio."""
    if (np.abs(log_ratio) < np.log(SAME_WITHIN)).mean() >= SAME_CHANCE:
        return "no meaningful difference"
    faster = (log_ratio > 0).mean()
    if faster >= SURE:
        return "faster"
    return "slower" if faster <= 1 - SURE else "undecided"


def compare_types(now: Standing, a: str, b: str, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer how many days more type `a` takes to recover from than type `b`.

    Returns:
        `difference_days` (with `bound`; a minus b), `chance_a_slower`.

    Raises:
        QuestionError: a type is unknown.
        NoAnswerError: the two cannot be told apart from what was trained.
    """
    known = _labels(now, n.TYPE)
    for name in (a, b):
        if name not in known:
            raise unknown_name("session type", name, known)
    return _difference(now, (a, b), ([a], [b]), "compare types", level, [])


def compare_attribute(
    now: Standing, attribute: str, a: str, b: str, level: float = DEFAULT_LEVEL
) -> xr.Dataset:
    """Answer how many days more types with value `a` take than types with value `b`.

    Each side is the mean over the types trained that have the value.

    Returns:
        `difference_days` (with `bound`; a minus b), `chance_a_slower`.

    Raises:
        QuestionError: no such attribute or value.
        NoAnswerError: a side was never trained, or cannot be told apart.
    """
    if attribute not in now.season.attributes:
        raise unknown_name("attribute", attribute, now.season.attributes)
    has, all_values = types_by_value(now, attribute)
    for value in (a, b):
        if value not in all_values:
            raise unknown_name(f"value of {attribute!r}", value, all_values)
        if value not in has:
            raise NoAnswerError(f"No type with {attribute} {value!r} has been trained yet.")
    alone = [
        f"Only {has[v][0]!r} has {attribute} {v!r}, so this compares that type, not the "
        "attribute by itself."
        for v in (a, b)
        if len(has[v]) == 1
    ]
    return _difference(
        now, (a, b), (has[a], has[b]), "compare attribute", level, alone, attribute=attribute
    )


def _difference(
    now: Standing,
    names: tuple[str, str],
    sides: tuple[list[str], list[str]],
    question: str,
    level: float,
    warnings: list[str],
    **facts: str,
) -> xr.Dataset:
    refused = confounded_types(now)
    for label in (*sides[0], *sides[1]):
        if label in refused:
            raise NoAnswerError(refused[label])
    difference = contrast(now, typical_days(now), sides)
    data = xr.Dataset(
        {
            "difference_days": interval(difference, level),
            "chance_a_slower": chance_slower(difference),
        }
    )
    return answer(data, question, now, level, warnings, a=names[0], b=names[1], **facts)


def types_by_value(now: Standing, attribute: str) -> tuple[dict[str, list[str]], list[str]]:
    """Return the trained types that have each value of an attribute, and all its values.

    Args:
        now: the state.
        attribute: one of the season's.

    Returns:
        The types of every value that was trained, in the season's order; every value.
    """
    data = now.season.data
    column = now.season.attributes.index(attribute)
    values = [str(v) for v in data[n.TYPE_ATTRIBUTE].values[:, column]]
    trained = _labels(now, n.TYPE)
    has: dict[str, list[str]] = {}
    for label, value in zip(now.season.types, values, strict=True):
        if value and label in trained:
            has.setdefault(value, []).append(label)
    return has, list(dict.fromkeys(v for v in values if v))


def contrast(now: Standing, by_type: Floats, sides: tuple[list[str], list[str]]) -> Floats:
    """Return the mean over one side's types minus that over the other's, shape (S,).

    Args:
        now: the state.
        by_type: what is compared, shape (S, K).
        sides: the types of either side.
    """
    known = _labels(now, n.TYPE)
    a, b = (by_type[:, [known.index(t) for t in side]].mean(axis=1) for side in sides)
    return np.asarray(a - b)


def chance_slower(difference: Floats) -> float:
    """Return the chance that a difference in days is above 0; an exact tie counts half."""
    return float((difference > 0).mean() + 0.5 * (difference == 0).mean())


def _labels(now: Standing, dim: str) -> list[str]:
    return [str(v) for v in now.draws[dim].values] if dim in now.draws.coords else []


def _acting(now: Standing, name: str) -> tuple[np.ndarray, Ints]:
    """Return on which observed nights it acted, and each session's first night."""
    season = now.season.observed()
    acts = season.applied()[season.interventions.index(name)]
    return acts, season.session_nights()


def refuse_on_trial(season: Season, name: str, trials: Sequence[Trial]) -> None:
    """Refuse what would be a look at a trial before its end that no record keeps.

    Raises:
        NoAnswerError: a trial of this intervention is under way.
    """
    last = season.last_night.astype(object)
    if any(t.plan.measure == name and t.status(last) == "running" for t in trials):
        raise NoAnswerError(
            f"The trial of {name!r} is under way and not judged yet. Results before its end are "
            "not shown: who stops at a lucky moment finds what is not there. slackwater trial "
            "analyse judges it when it is due; before that, with --peek, it shows them and keeps "
            "in the record that you looked."
        )


def _nights_after(first_nights: Ints, acts: np.ndarray) -> np.ndarray:
    after = np.minimum(first_nights + 1, len(acts) - 1)
    return np.asarray(acts[after])


def _refuse_one_sided(name: str, counted: dict[str, int]) -> None:
    for side in ("with", "without"):
        nights = counted[f"nights_{side}"]
        if nights < FEWEST_NIGHTS or counted[f"sessions_{side}"] == 0:
            raise NoAnswerError(
                f"There are {nights} nights and {counted[f'sessions_{side}']} sessions {side} "
                f"{name!r}: too few to compare. Use it in some weeks and not in others, on each "
                "day until recovered."
            )


def _days_saved(now: Standing, log_ratio: Floats) -> Floats:
    """Return typical days without minus with the measure, shape (S, K)."""
    dip = np.exp(log_dips(now))
    log_rate = now.parameter(n.TYPE_LOG_RATE)
    threshold = now.threshold[:, None]
    without = days_to_recover(dip, threshold, np.exp(log_rate))
    return without - days_to_recover(dip, threshold, np.exp(log_rate + log_ratio[:, None]))


def _one_type_only(now: Standing, name: str, with_it: np.ndarray) -> list[str]:
    types = now.season.observed().data[n.SESSION_TYPE].values
    used = {str(t) for t in types[with_it]}
    spared = {str(t) for t in types[~with_it]}
    both = used & spared
    if not both:
        raise NoAnswerError(
            f"{name!r} was always used after some types and never after the others, so its effect "
            "cannot be told from theirs; use it after some sessions of a type and not after others."
        )
    if len(both) == 1 and len(used | spared) > 1:
        return [
            f"Only {next(iter(both))!r} was trained both with and without {name!r}: the answer "
            "says little about other types."
        ]
    return []
