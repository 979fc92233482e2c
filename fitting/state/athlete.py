"""One athlete: a season, what was learnt of it and what was planned; asked many questions.

Everything that answers takes an `Athlete`. What several answers need is worked out once, when the
first of them asks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.new_mornings import Fitted, take_in
from slackwater.fitting.state.own_recovery import OwnRecovery, own_recovery
from slackwater.fitting.state.past import Past, past_of
from slackwater.fitting.state.standing import Standing, Unexplained, logged_events
from slackwater.fitting.state.unseen_types import UnseenType, draw_unseen, known_by_group
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.levels import UNEXPLAINED, State
from slackwater.model.priors import Priors
from slackwater.model.season import DAY, Season

if TYPE_CHECKING:
    from slackwater.fitting.records.plans import KeptPlan
    from slackwater.fitting.records.trials import Trial

_EVER: Final = np.datetime64("9999-12-31")


class Athlete:
    """One athlete's season, its posterior, and the trials and plans that belong to it.

    Each property raises what its reading raises, such as a `NoAnswerError` where the posterior
    no longer fits the season.
    """

    _fitted: Fitted | None = None

    def __init__(
        self,
        season: Season,
        posterior: Posterior | None = None,
        *,
        trials: Sequence[Trial] = (),
        plans: Sequence[KeptPlan] = (),
    ) -> None:
        """Take the season as it is now, and what there is beside it."""
        self._season, self._posterior = season, posterior
        self._trials, self._plans = trials, plans

    @property
    def season(self) -> Season:
        """The season as it is now."""
        return self._season

    @property
    def fitted(self) -> bool:
        """Whether there is a posterior, of whatever worth."""
        return self._posterior is not None

    @property
    def posterior(self) -> Posterior:
        """The posterior of the season, or of an earlier stretch of it."""
        if self._posterior is None:
            raise NoAnswerError(Reason("no posterior"))
        return self._posterior

    @property
    def trials(self) -> Sequence[Trial]:
        """The trials of recovery measures, in the order in which they were planned."""
        return self._trials

    @property
    def plans(self) -> Sequence[KeptPlan]:
        """The plans kept, in that order."""
        return self._plans

    @property
    def set_aside(self) -> Sequence[Reason]:
        """What was entered that can't be right, and what the season has in its place."""
        return ()

    @cached_property
    def now(self) -> Standing:
        """Where the athlete stands on the morning of the last reading."""
        return self._on(self.season)

    @cached_property
    def as_fitted(self) -> Standing:
        """The same on the last fitted morning, which answers although what is new cannot be."""
        if not self.newer_readings:
            return self.now
        return self._on(self.season.through(self.posterior.last_night))

    def _on(self, season: Season) -> Standing:
        now = _standing(season, self._fitted_part(season, self.posterior))
        return replace(now, warnings=[*now.warnings, *self.set_aside])

    def _fitted_part(self, season: Season, posterior: Posterior) -> Fitted:
        """Return what was fitted of a season; the same as before where that did not change."""
        if not posterior.checks.usable:
            raise NoAnswerError(*posterior.checks.complaints, Reason("unusable fit"))
        edited = Reason("edited since the fit", last_night=str(posterior.last_night))
        if not season.first_night <= posterior.last_night <= season.last_night:
            raise NoAnswerError(edited)
        part, before = season.through(posterior.last_night), self._fitted
        if before is None or before.season is not part or before.posterior is not posterior:
            if part.fingerprint() != posterior.fingerprint:
                raise NoAnswerError(edited)
            self._fitted = before = Fitted(part, posterior)
        return before

    @property
    def newer_readings(self) -> int:
        """How many nights were read since the fit."""
        read = self.season.nights[self.season.read]
        if self.posterior.last_night < read[0]:
            return 0  # the posterior is of another season, which `now` refuses
        return int((read > self.posterior.last_night).sum())

    @cached_property
    def past(self) -> Past:
        """The season taken apart, readings since the fit included."""
        return past_of(self.now, self.posterior)

    @cached_property
    def past_as_fitted(self) -> Past:
        """The fitted part of the season, taken apart."""
        if not self.newer_readings:
            return self.past
        return past_of(self.as_fitted, self.posterior)

    @cached_property
    def own_recovery(self) -> OwnRecovery:
        """The own recovery of every session that was fitted."""
        return own_recovery(self.now, self.posterior)


def _standing(season: Season, fitted: Fitted) -> Standing:
    posterior = fitted.posterior
    last = posterior.last
    now = Standing(
        season=season,
        night=posterior.last_night,
        fitted_to=posterior.last_night,
        draws=posterior.draws.drop_vars([n.NIGHT_SCALE, n.SESSION_Z], errors="ignore"),
        rows=np.arange(posterior.draws.sizes["sample"]),
        groups=[str(g) for g in last[n.GROUP].values],
        rates=last["rate"].values,
        dips=last["dip"].values,
        level=State(last["level_mean"].values.T, last["level_covariance"].values.T),
        stretches=posterior.stretches,
        pending=[],
        warnings=list(posterior.checks.complaints),
        seed=posterior.seed,
    )
    if season.last_night > posterior.last_night:
        now = take_in(now, fitted)
    now = _with_unexplained(now, posterior.priors)
    rng = np.random.default_rng(now.seed + 2)
    now = _with_unseen(now, draw_unseen(season, now.draws, posterior.priors, rng))
    pending, unknown = logged_events(now, _EVER)
    coming = [label for label in now.unseen if any(e.label == label for e in pending)]
    new = [
        *(_not_shown_yet(label, posterior.priors) for label in coming),
        *(Reason("left out of forecasts", label=label) for label in unknown),
    ]
    return replace(now, pending=pending, warnings=[*now.warnings, *new])


def _not_shown_yet(label: str, priors: Priors) -> Reason:
    if known_by_group(priors, label):
        return Reason("type known by the group alone", type=label)
    return Reason("type not shown yet", type=label)


def _with_unexplained(now: Standing, priors: Priors) -> Standing:
    """Let what is unexplained weigh as a dip that passes at a rate of which little is known."""
    if len(now.level.mean) <= UNEXPLAINED:
        return now
    rng = np.random.default_rng([now.seed, 3])
    mean = now.level.mean[UNEXPLAINED]
    variance = now.level.covariance[UNEXPLAINED, UNEXPLAINED]
    draws = mean + np.sqrt(variance) * rng.standard_normal(len(mean))
    now = replace(now, level=now.level.at(UNEXPLAINED, draws))
    if not now.stretches or now.stretches[-1].last is not None or np.median(draws) >= 0:
        return now
    rates = np.exp(
        priors.unexplained_rate.mean + priors.unexplained_rate.sd * rng.standard_normal(len(mean))
    )
    since = now.stretches[-1].first
    nights = int((now.night - since) / DAY) + 1
    percent = float(np.median(100 * np.expm1(draws)))
    told = Reason("unexplained", since=str(since), percent=percent, nights=nights)
    return replace(
        now,
        unexplained=Unexplained(since, nights, draws),
        warnings=[told, *now.warnings],
        groups=[*now.groups, n.UNEXPLAINED],
        rates=np.column_stack([now.rates, rates]),
        dips=np.column_stack([now.dips, -draws]),
    )


def _with_unseen(now: Standing, unseen: Mapping[str, UnseenType]) -> Standing:
    rates = [np.exp(a_type.log_rate)[:, None] for a_type in unseen.values()]
    return replace(
        now,
        unseen=unseen,
        groups=[*now.groups, *unseen],
        rates=np.concatenate([now.rates, *rates], axis=1),
        dips=np.concatenate([now.dips, np.zeros((len(now.dips), len(unseen)))], axis=1),
    )
