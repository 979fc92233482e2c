"""The verdict on a recovery measure: one each, wherever it is told.

A measure that was used when the athlete chose gets none. One that was put on trial gets its
trial's, once, by the rule that was fixed beforehand; where several were, that rule is applied to
all that was ever tried judged together, so that the luckiest of many does not win.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from math import log
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from slackwater.fitting.answers.intervals import CLEARLY, Interval, interval, shares
from slackwater.fitting.measures.shrinkage import Shrunk, shrink, without_prior
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, Reason, SeasonError
from slackwater.model.priors import Belief

if TYPE_CHECKING:
    from slackwater.fitting.records.trials import Analysed, Trial

SAME_WITHIN: Final = 1.1  # rate ratios closer to 1 than this factor make no difference
SAME_CHANCE: Final = 0.9
_LEAST: Final = 1e-12  # of a standard deviation, where an effect is known
FASTER: Final = "faster"
SLOWER: Final = "slower"
SAME: Final = "no meaningful difference"
UNDECIDED: Final = "undecided"
# In words, as it is the one rule that a season's record keeps, word by word.
VERDICT_RULE: Final = (
    "no meaningful difference when the chance is at least 90 % that the rate ratio lies between "
    "1/1.1 and 1.1; otherwise faster or slower when the chance of it is at least 97.5 %; "
    "otherwise undecided"
)


class Effect(NamedTuple):
    """What is known of a measure's log rate ratio, taken as normal.

    Attributes:
        mean: posterior mean.
        sd: its standard deviation.
        prior: what was believed of it beforehand.
    """

    mean: float
    sd: float
    prior: Belief

    @classmethod
    def of(cls, log_ratio: Floats, prior: Belief) -> Effect:
        """Return what draws of it say."""
        return cls(float(log_ratio.mean()), float(log_ratio.std()), prior)

    def below(self, value: float) -> float:
        """Return the chance that it lies below a value."""
        return self._normal.cdf(value)

    @property
    def chance_faster(self) -> float:
        """The chance that recovery is faster with the measure."""
        return 1 - self.below(0.0)

    def rate_ratio(self, level: float) -> Interval:
        """Return the recovery rate with the measure over without it."""
        return Interval(*(float(np.exp(self._normal.inv_cdf(s))) for s in shares(level)))

    @property
    def _normal(self) -> NormalDist:
        return NormalDist(self.mean, max(self.sd, _LEAST))


def verdict(below: Callable[[float], float]) -> str:
    """Return the verdict by `VERDICT_RULE`.

    Args:
        below: the chance that the log rate ratio lies below a value.
    """
    near = log(SAME_WITHIN)
    if below(near) - below(-near) >= SAME_CHANCE:
        return SAME
    slower = below(0.0)
    if slower <= 1 - CLEARLY:
        return FASTER
    return SLOWER if slower >= CLEARLY else UNDECIDED


@dataclass(frozen=True)
class Tried:
    """One measure ever tried of which something is known.

    Attributes:
        measure: its name.
        trial: the trial that judged it; None where the log alone tells.
        effect: what is known of it.
        alone: what its trial's rule says by itself; None outside a trial.
        draws: draws of its log rate ratio; None where the record keeps moments alone.
    """

    measure: str
    trial: Trial | None
    effect: Effect
    alone: str | None = None
    draws: Floats | None = None

    def rate_ratio(self, level: float) -> Interval:
        """Return the recovery rate with over without, by itself."""
        if self.draws is None:
            return self.effect.rate_ratio(level)
        return interval(np.exp(self.draws), level)

    @property
    def chance_faster(self) -> float:
        """The chance that recovery is faster, by itself."""
        return self.effect.chance_faster if self.draws is None else float((self.draws > 0).mean())


@dataclass(frozen=True)
class Judged:
    """One of them, judged.

    Attributes:
        tried: the measure.
        together: its rate ratio, all that was ever tried judged together.
        chance_faster: the chance that it is above 1, likewise.
        verdict: the one that is told; None outside a trial.
        rule: what it follows from.
    """

    tried: Tried
    together: Interval
    chance_faster: float
    verdict: str | None
    rule: Reason


def ever_tried(athlete: Athlete) -> list[Tried]:
    """Return the measures of which something is known: those judged by trials, then by the log.

    A measure whose trial is open is not among them, nor one that the fit has not seen.
    """
    trials = athlete.trials
    by_trial = [
        Tried(t.plan.measure, t, of_record(t.analysed), t.analysed.verdict)
        for t in trials
        if t.analysed is not None
    ]
    now = latest_state(athlete)
    if now is None:
        return by_trial
    prior = athlete.posterior.priors.log_rate_ratio_of
    logged = [name for name in now.interventions if told_by_log(trials, name)]
    draws = {name: now.log_ratio(name) for name in logged}
    return [*by_trial, *(Tried(k, None, Effect.of(x, prior(k)), None, x) for k, x in draws.items())]


def told_by_log(trials: Sequence[Trial], measure: str) -> bool:
    """Say whether a measure speaks by its log: it had no trial, or one alone, which was stopped.

    The log of a measure with another trial holds that one's days, maybe not yet to be seen.
    """
    its = [t for t in trials if t.plan.measure == measure]
    return not its or (len(its) == 1 and its[0].stopped is not None)


def of_record(found: Analysed) -> Effect:
    """Return what the record keeps of a trial that was analysed."""
    prior = Belief(found.prior_mean, found.prior_sd)
    return Effect(found.log_rate_ratio_mean, found.log_rate_ratio_sd, prior)


def judged(tried: Sequence[Tried], level: float) -> list[Judged]:
    """Return the verdict on each measure ever tried, and its numbers.

    Args:
        tried: all of them, from `ever_tried`.
        level: credible mass of every interval.
    """
    found = _together(tried)
    ranges = np.exp([found.quantile(share) for share in shares(level)]).T
    return [
        Judged(each, Interval(*map(float, ranges[j])), 1 - found.below(j, 0.0), *said)
        for j, (each, said) in enumerate(zip(tried, _told(tried, found), strict=True))
    ]


def verdict_of(athlete: Athlete, trial: Trial) -> str:
    """Return the verdict on a trial that is told; empty before it is judged."""
    if trial.analysed is None:
        return ""
    if sum(t.analysed is not None for t in athlete.trials) == 1:
        return trial.analysed.verdict
    tried = ever_tried(athlete)
    told = zip(tried, _told(tried, _together(tried)), strict=True)
    return next(said or "" for each, (said, _) in told if each.trial is trial)


def _together(tried: Sequence[Tried]) -> Shrunk:
    mean, sd = np.array([t.effect.mean for t in tried]), np.array([t.effect.sd for t in tried])
    return shrink(*without_prior(mean, sd, [t.effect.prior for t in tried]))


def _told(tried: Sequence[Tried], found: Shrunk) -> Iterator[tuple[str | None, Reason]]:
    """Yield the verdict that is told of each, and the rule that it follows from."""
    several = sum(t.trial is not None for t in tried) > 1
    for j, each in enumerate(tried):
        if each.trial is None:
            yield None, Reason("no verdict outside a trial")
            continue
        plan = each.trial.plan
        if several:
            rule = Reason("verdict of all together", trial=plan.trial, rule=VERDICT_RULE)
            yield verdict(partial(found.below, j)), rule
        else:
            yield (
                each.alone,
                Reason("verdict of its trial", trial=plan.trial, rule=plan.verdict_rule),
            )


def latest_state(athlete: Athlete) -> Standing | None:
    """Return the latest state that a fit tells of; None where none does."""
    if not athlete.fitted:
        return None
    try:
        return athlete.now
    except NoAnswerError:
        pass
    try:
        return athlete.as_fitted
    except (NoAnswerError, SeasonError):
        return None
