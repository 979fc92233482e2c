"""Recovery with and without a measure, and one type or attribute against another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval, intervals
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.answers.support import confounded_types
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, days_to_recover
from slackwater.model.errors import NoAnswerError, Reason, unknown_name
from slackwater.model.season import Season

CLEARLY: Final = 0.975  # the chance of a direction that makes a verdict
SAME_WITHIN: Final = 1.1  # rate ratios closer to 1 than this factor make no difference
SAME_CHANCE: Final = 0.9
FEWEST_NIGHTS: Final = 5  # with a measure, and as many without
# In words, as it is the one rule that a season's record keeps, word by word.
VERDICT_RULE: Final = (
    "no meaningful difference when the chance is at least 90 % that the rate ratio lies between "
    "1/1.1 and 1.1; otherwise faster or slower when the chance of it is at least 97.5 %; "
    "otherwise undecided"
)


@dataclass(frozen=True)
class MeasureCompared(Answer):
    """Recovery with one measure over recovery without it.

    Attributes:
        intervention: the measure.
        nights_with, nights_without, sessions_with, sessions_without: what it rests on.
        rate_ratio: recovery rate with over without.
        chance_faster: the chance that it is above 1.
        lift_percent: what a reading gains on a night of use by itself.
        days_saved: dimension `type`, with `bound`: typical days without minus with.
        verdict: faster, slower, no meaningful difference or undecided.
        verdict_rule: what makes which.
    """

    intervention: str
    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    chance_faster: float
    lift_percent: Interval
    days_saved: xr.DataArray
    verdict: str
    verdict_rule: str = VERDICT_RULE


@dataclass(frozen=True)
class Difference(Answer):
    """How many days more one side takes to recover from than the other.

    Attributes:
        a: the first type, or value of the attribute.
        b: the second.
        difference_days: a minus b.
        chance_a_slower: the chance that a takes longer.
        longer: which of the two more likely takes longer, by the middle estimate.
        attribute: the attribute that the two are values of; None for two types.
    """

    a: str
    b: str
    difference_days: Interval
    chance_a_slower: float
    longer: str
    attribute: str | None = None


def compare_intervention(
    athlete: Athlete, name: str, level: float = DEFAULT_LEVEL
) -> MeasureCompared:
    """Answer whether recovery is faster with one intervention than without it.

    A session counts as with the intervention when it acted on the night after the
    session's first: the first night's dip is the session's own, and the intervention
    works on what is left of it.

    Args:
        athlete: the season, what was learnt of it, and its trials.
        name: the intervention.
        level: credible mass of every interval.

    Raises:
        QuestionError: unknown to the fit.
        NoAnswerError: used on hardly any or all but all nights, or after some types only; or on
            trial, and not judged yet.
    """
    refuse_on_trial(athlete, name)
    now = athlete.now
    if name not in now.interventions:
        raise unknown_name("intervention", name, now.interventions)
    season = now.season.observed()
    acts = season.applied()[season.interventions.index(name)]
    with_it = _after_first_night(season, acts)
    for side, nights, sessions in (("with", acts, with_it), ("without", ~acts, ~with_it)):
        if nights.sum() < FEWEST_NIGHTS or not sessions.any():
            facts = {"nights": int(nights.sum()), "sessions": int(sessions.sum())}
            raise NoAnswerError(Reason("too few to compare", measure=name, side=side, **facts))
    log_ratio = now.log_ratio(name)
    saved = intervals(_days_saved(now, log_ratio), level, (n.TYPE,))
    return MeasureCompared(
        about(now, level, _few_types(season, name, with_it)),
        intervention=name,
        nights_with=int(acts.sum()),
        nights_without=int((~acts).sum()),
        sessions_with=int(with_it.sum()),
        sessions_without=int((~with_it).sum()),
        rate_ratio=interval(np.exp(log_ratio), level),
        chance_faster=float((log_ratio > 0).mean()),
        lift_percent=interval(100 * np.expm1(now.lift(name)), level),
        days_saved=saved.assign_coords({n.TYPE: now.types}),
        verdict=verdict(log_ratio),
    )


def verdict(log_ratio: Floats) -> str:
    """Return the verdict on a measure by `VERDICT_RULE`, from draws of the log rate ratio."""
    if (np.abs(log_ratio) < np.log(SAME_WITHIN)).mean() >= SAME_CHANCE:
        return "no meaningful difference"
    faster = (log_ratio > 0).mean()
    if faster >= CLEARLY:
        return "faster"
    return "slower" if faster <= 1 - CLEARLY else "undecided"


def compare_types(athlete: Athlete, a: str, b: str, level: float = DEFAULT_LEVEL) -> Difference:
    """Answer how many days more type `a` takes to recover from than type `b`.

    Raises:
        QuestionError: a type is unknown.
        NoAnswerError: the two cannot be told apart from what was trained.
    """
    now = athlete.now
    for name in (a, b):
        if name not in now.types:
            raise unknown_name("session type", name, now.types)
    return _difference(now, (a, b), ([a], [b]), level)


def compare_attribute(
    athlete: Athlete, attribute: str, a: str, b: str, level: float = DEFAULT_LEVEL
) -> Difference:
    """Answer how many days more types with value `a` take than types with value `b`.

    Each side is the mean over the types trained that have the value.

    Raises:
        QuestionError: no such attribute or value.
        NoAnswerError: a side was never trained, or cannot be told apart.
    """
    now = athlete.now
    if attribute not in now.season.attributes:
        raise unknown_name("attribute", attribute, now.season.attributes)
    has, all_values = types_by_value(now, attribute)
    for value in (a, b):
        if value not in all_values:
            raise unknown_name(f"value of {attribute!r}", value, all_values)
        if value not in has:
            raise NoAnswerError(Reason("value never trained", attribute=attribute, value=value))
    alone = [
        Reason("one type has the value", attribute=attribute, value=v, type=has[v][0])
        for v in (a, b)
        if len(has[v]) == 1
    ]
    return _difference(now, (a, b), (has[a], has[b]), level, alone, attribute)


def _difference(
    now: Standing,
    names: tuple[str, str],
    sides: tuple[list[str], list[str]],
    level: float,
    warnings: list[Reason] | None = None,
    attribute: str | None = None,
) -> Difference:
    why_not = confounded_types(now)
    for label in (*sides[0], *sides[1]):
        if label in why_not:
            raise NoAnswerError(why_not[label])
    difference = contrast(now, typical_days(now), sides)
    bounds = interval(difference, level)
    a, b = names
    return Difference(
        about(now, level, warnings or ()),
        a=a,
        b=b,
        difference_days=bounds,
        chance_a_slower=chance_slower(difference),
        longer=a if bounds.median >= 0 else b,
        attribute=attribute,
    )


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
    has: dict[str, list[str]] = {}
    for label, value in zip(now.season.types, values, strict=True):
        if value and label in now.types:
            has.setdefault(value, []).append(label)
    return has, list(dict.fromkeys(v for v in values if v))


def contrast(now: Standing, by_type: Floats, sides: tuple[list[str], list[str]]) -> Floats:
    """Return the mean over one side's types minus that over the other's, shape (S,).

    Args:
        now: the state.
        by_type: what is compared, shape (S, K).
        sides: the types of either side.
    """
    a, b = (by_type[:, [now.types.index(t) for t in side]].mean(axis=1) for side in sides)
    return np.asarray(a - b)


def chance_slower(difference: Floats) -> float:
    """Return the chance that a difference in days is above 0; an exact tie counts half."""
    return float((difference > 0).mean() + 0.5 * (difference == 0).mean())


def refuse_on_trial(athlete: Athlete, name: str) -> None:
    """Refuse what would be a look at a trial before its end that no record keeps.

    Raises:
        NoAnswerError: a trial of this intervention is under way.
    """
    last = athlete.season.last_night.astype(object)
    if any(t.plan.measure == name and t.status(last) == "running" for t in athlete.trials):
        raise NoAnswerError(Reason("on trial", measure=name))


def _after_first_night(season: Season, acts: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which sessions an intervention acted on in the night after their first."""
    after = np.minimum(season.session_nights() + 1, len(acts) - 1)
    return np.asarray(acts[after])


def _days_saved(now: Standing, log_ratio: Floats) -> Floats:
    """Return typical days without minus with the measure, shape (S, K)."""
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE) + log_ratio[:, None])
    with_it = days_to_recover(np.exp(now.log_dips()), now.threshold[:, None], rate)
    return typical_days(now) - with_it


def _few_types(season: Season, name: str, with_it: NDArray[np.bool_]) -> list[Reason]:
    """Return what to mind where few types were trained both with and without a measure."""
    types = season.data[n.SESSION_TYPE].values
    used = {str(t) for t in types[with_it]}
    spared = {str(t) for t in types[~with_it]}
    both = used & spared
    if not both:
        raise NoAnswerError(Reason("some types only", measure=name))
    if len(both) == 1 and len(used | spared) > 1:
        return [Reason("one type only", measure=name, type=next(iter(both)))]
    return []
