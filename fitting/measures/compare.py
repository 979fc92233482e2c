"""Recovery with and without one measure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval, intervals
from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.measures.verdicts import UNDECIDED, Judged, ever_tried, judged
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, days_to_recover
from slackwater.model.errors import NoAnswerError, Reason, unknown_name
from slackwater.model.season import Season

FEWEST_NIGHTS: Final = 5  # with a measure, and as many without
ONE_THING: Final = 0.5  # share of what is not known of the ratio that is not knowing the lift


@dataclass(frozen=True)
class MeasureCompared(Answer):
    """Recovery with one measure over recovery without it.

    Attributes:
        intervention: the measure.
        nights_with, nights_without, sessions_with, sessions_without: what it rests on.
        rate_ratio: recovery rate with over without.
        chance_faster: the chance that it is above 1.
        lift_percent: what a reading gains on a night of use by itself.
        lift_share: how much of the variance of the log rate ratio is not knowing the lift.
        told_apart: whether rate and lift can be told apart: the share is under a half.
        days_saved: dimension `type`, with `bound`: typical days without minus with.
        verdict: that of its trial: faster, slower, no meaningful difference or undecided; outside
            a trial always undecided.
        verdict_rule: what it follows from, or why there is none.
        settled_by: what would settle it; None where a trial did.
    """

    intervention: str
    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    chance_faster: float
    lift_percent: Interval
    lift_share: float
    told_apart: bool
    days_saved: xr.DataArray
    verdict: str
    verdict_rule: Reason
    settled_by: Reason | None


def compare_intervention(
    athlete: Athlete, name: str, level: float = DEFAULT_LEVEL
) -> MeasureCompared:
    """Answer how fast recovery is with one intervention and without it.

    Whether it is faster is a verdict, which a trial alone gives: whoever looks at a log again and
    again sees a lucky day, and nobody counts the looks.

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
    use = used(season, name)
    for side, nights, sessions in (
        ("with", use.nights_with, use.sessions_with),
        ("without", use.nights_without, use.sessions_without),
    ):
        if nights < FEWEST_NIGHTS or not sessions:
            facts = {"nights": nights, "sessions": sessions}
            raise NoAnswerError(Reason("too few to compare", measure=name, side=side, **facts))
    log_ratio = now.log_ratio(name)
    saved = intervals(_days_saved(now, log_ratio), level, (n.TYPE,))
    share = lift_share(now, name)
    its = _judged(athlete, name, level)
    unclear = [] if share < ONE_THING else [Reason("lift or rate", measure=name, share=share)]
    return MeasureCompared(
        about(now, level, [*unclear, *_few_types(season, name)]),
        intervention=name,
        **use._asdict(),
        rate_ratio=interval(np.exp(log_ratio), level),
        chance_faster=float((log_ratio > 0).mean()),
        lift_percent=interval(100 * np.expm1(now.lift(name)), level),
        lift_share=share,
        told_apart=share < ONE_THING,
        days_saved=saved.assign_coords({n.TYPE: now.types}),
        verdict=its.verdict if its and its.verdict else UNDECIDED,
        verdict_rule=its.rule if its else Reason("no verdict outside a trial"),
        settled_by=None if its else Reason("a trial settles it"),
    )


def lift_share(now: Standing, name: str) -> float:
    """Return how much of the variance of a measure's log rate ratio is not knowing its lift.

    As much as a straight line through the draws takes off it. At a half, the range of the ratio
    is 1.4 times as wide as it would be if the lift were known, and nights with nothing to recover
    from would teach more than further sessions.
    """
    apart = np.stack([now.log_ratio(name), now.lift(name)])
    if not apart.std(axis=1).all():
        return 0.0  # one of the two is known
    return float(np.square(np.corrcoef(apart))[0, 1])


def _judged(athlete: Athlete, name: str, level: float) -> Judged | None:
    """Return the verdict of the measure's last trial that was judged; None where there is none."""
    if not any(t.plan.measure == name and t.analysed is not None for t in athlete.trials):
        return None
    of_trials = [each for each in judged(ever_tried(athlete), level) if each.tried.trial]
    return [each for each in of_trials if each.tried.measure == name][-1]


def refuse_on_trial(athlete: Athlete, name: str) -> None:
    """Refuse what would be a look at a trial before its end that no record keeps.

    Raises:
        NoAnswerError: a trial of this intervention is under way.
    """
    last = athlete.season.last_night.astype(object)
    if any(t.plan.measure == name and t.status(last) == "running" for t in athlete.trials):
        raise NoAnswerError(Reason("on trial", measure=name))


class Use(NamedTuple):
    """How often an intervention was used, by nights and by sessions, and how often not."""

    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int


def used(season: Season, name: str) -> Use:
    """Return how often an intervention was used in what a season's readings can show."""
    acts, with_it = _acted(season, name)
    nights, sessions = int(acts.sum()), int(with_it.sum())
    return Use(nights, len(acts) - nights, sessions, len(with_it) - sessions)


def _acted(season: Season, name: str) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return on which nights it acted, and on which sessions, in the night after their first."""
    acts = season.applied()[season.interventions.index(name)]
    after = np.minimum(season.session_nights() + 1, len(acts) - 1)
    return np.asarray(acts), np.asarray(acts[after])


def _days_saved(now: Standing, log_ratio: Floats) -> Floats:
    """Return typical days without minus with the measure, shape (S, K)."""
    rate = np.exp(now.parameter(n.TYPE_LOG_RATE) + log_ratio[:, None])
    with_it = days_to_recover(np.exp(now.log_dips()), now.threshold[:, None], rate)
    return typical_days(now) - with_it


def _few_types(season: Season, name: str) -> list[Reason]:
    """Return what to mind where few types were trained both with and without a measure."""
    _, with_it = _acted(season, name)
    types = season.data[n.SESSION_TYPE].values
    used = {str(t) for t in types[with_it]}
    spared = {str(t) for t in types[~with_it]}
    both = used & spared
    if not both:
        raise NoAnswerError(Reason("some types only", measure=name))
    if len(both) == 1 and len(used | spared) > 1:
        return [Reason("one type only", measure=name, type=next(iter(both)))]
    return []
