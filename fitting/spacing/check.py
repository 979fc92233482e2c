"""Planned against done: what became of the plans that were kept."""

from __future__ import annotations

from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.records.plans import KeptPlan, holding
from slackwater.fitting.sampling import last_night
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.spacing.done import (
    MOVED_RULE,
    ON_THE_DAY,
    Done,
    Log,
    became_of,
    beside,
    followed,
)
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.design import Design, design_of
from slackwater.model.dynamics import Floats, dip_path
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY

PLANNED_SESSION: Final = "planned_session"
FEW: Final = 10
JUDGED_RULE: Final = (
    "a promise is judged where the session was done on its day and all until then as planned"
)
SHARE_RULE: Final = (
    "each morning is judged by the whole fit, with what that does not know either; the range "
    "found also allows for so few mornings (binomial, Jeffreys)"
)
AS_PROMISED: Final = "as promised"
LESS_OFTEN: Final = "less often than promised"
MORE_OFTEN: Final = "more often than promised"
CANNOT_TELL: Final = "cannot tell"
VERDICT_RULE: Final = (
    "as promised while the mean of the promised chances lies in the range of the share; less or "
    "more often once it does not"
)
_DRAWS: Final = 2000  # of the posterior; more would only cost memory
_REPEATS: Final = 20  # shares drawn for each of them


def check_spacing(
    now: Standing, posterior: Posterior, plans: list[KeptPlan], level: float = DEFAULT_LEVEL
) -> xr.Dataset:
    """Answer what was done of the plans that were kept, and how often the promise held.

    Args:
        now: the state, from `standing`.
        posterior: the posterior that it comes from.
        plans: the plans kept, in that order.
        level: credible mass of every interval.

    Returns:
        Dimension `planned_session`: `date`, `type`, `promised`, `status`, `done_on` (empty
        where not done), `followed` (all until then as planned), `chance_back` on the morning
        of the day it was done (NaN where the fit does not reach). Of all of these (`done`):
        `done_back` (bound), how many began recovered. Of those done on the day with the plan
        followed (`judged`): `promised_mean`, `promised_count` (bound; what the promises let
        expect by chance alone), `back_count` and `share_back` (bound). `done_beside` counts
        sessions on plan days beside the plans.

    Raises:
        NoAnswerError: no plan was kept.
    """
    check_level(level)
    held = holding(plans)
    if not held.sessions:
        raise NoAnswerError(
            "No plan was kept for this season; plan with slackwater spacing … --keep (or --ics "
            "FILE), and check it when its days have passed."
        )
    log = _log(now)
    became = became_of(held.sessions, log, now.night)
    back = _back(now, posterior, [done.date for done in became])
    known = np.isfinite(back[:, 0])
    kept = np.array([followed(s, p, log) for s, p in zip(held.sessions, held.plans, strict=True)])
    judged = known & kept & np.array([done.status == ON_THE_DAY for done in became])
    promised = np.array([s.chance for s in held.sessions])
    rng = now.rng()
    data = xr.Dataset(
        {
            "date": (PLANNED_SESSION, [str(s.date) for s in held.sessions]),
            "type": (PLANNED_SESSION, [s.type for s in held.sessions]),
            "promised": (PLANNED_SESSION, promised),
            "status": (PLANNED_SESSION, [done.status for done in became]),
            "done_on": (PLANNED_SESSION, [str(done.date or "") for done in became]),
            "followed": (PLANNED_SESSION, kept),
            "chance_back": (PLANNED_SESSION, back.mean(axis=1)),
            "done": int(known.sum()),
            "done_back": interval(back[known].sum(axis=0), level),
            "judged": int(judged.sum()),
            "promised_mean": promised[judged].mean() if judged.any() else np.nan,
            "promised_count": interval(_by_chance(promised[judged], rng), level),
            "back_count": interval(back[judged].sum(axis=0), level),
            "share_back": interval(_shares(back[judged], rng), level),
            "done_beside": beside(plans, log, became, held.sessions),
        }
    )
    return answer(
        data,
        "spacing check",
        now,
        level,
        _warnings(became, known, int(judged.sum()), posterior),
        plans=len(plans),
        replaced=held.replaced,
        verdict=_verdict(data),
        verdict_rule=VERDICT_RULE,
        moved_rule=MOVED_RULE,
        judged_rule=JUDGED_RULE,
        share_rule=SHARE_RULE,
    )


def _log(now: Standing) -> Log:
    data = now.season.data
    dates = data[n.SESSION_DATE].values.astype("datetime64[D]")
    return [(d, str(t)) for d, t in zip(dates, data[n.SESSION_TYPE].values, strict=True)]


def _back(
    now: Standing, posterior: Posterior, mornings: list[np.datetime64 | None]
) -> NDArray[np.float64]:
    """Return 1 where the dips lay under the threshold, by morning and draw; NaN if not known."""
    fitted = now.season.through(posterior.last_night)
    reached = {
        row: int((morning - fitted.first_night) / DAY)
        for row, morning in enumerate(mornings)
        if morning is not None and fitted.first_night <= morning <= fitted.last_night
    }
    if not reached:
        return np.full((len(mornings), 1), np.nan)
    every = -(-posterior.draws.sizes["sample"] // _DRAWS)
    draws = posterior.draws.isel(sample=slice(None, None, every))
    if n.TYPE in draws.coords:
        draws = draws.sel({n.TYPE: fitted.types})  # the files may list them in another order
    dips = _dips(draws, design_of(fitted))
    back = np.full((len(mornings), len(dips)), np.nan)
    for row, night in reached.items():
        back[row] = dips[:, night] <= 0.5 * draws[n.NOISE_SD].values
    return back


def _dips(draws: xr.Dataset, design: Design) -> Floats:
    """Return all dips together on every night of the fitted season, shape (S, N)."""
    rates, dips = last_night.rates_and_dips(draws, design)
    events = (design.event_nights, design.event_groups)
    path = dip_path(dips, *events, rates, last_night.speed(draws, design))
    return np.asarray(path.sum(axis=2))


def _by_chance(promised: Floats, rng: np.random.Generator) -> Floats:
    """Draw how often the athlete is back if each promise is right."""
    if not len(promised):
        return np.array([np.nan])
    kept = rng.random((_DRAWS * _REPEATS, len(promised))) < promised
    return np.asarray(kept.sum(axis=1), float)


def _shares(back: Floats, rng: np.random.Generator) -> Floats:
    """Draw the share of such mornings on which the athlete is back, from its posterior.

    For each draw, mornings are trials with one chance and its Jeffreys prior.
    """
    trials = len(back)
    if not trials:
        return np.array([np.nan])
    count = np.repeat(back.sum(axis=0), _REPEATS)
    return rng.beta(count + 0.5, trials - count + 0.5)


def _verdict(data: xr.Dataset) -> str:
    promised = float(data["promised_mean"])
    low, high = (float(data["share_back"].sel(bound=bound)) for bound in ("low", "high"))
    if not int(data["judged"]):
        return CANNOT_TELL
    if promised > high:
        return LESS_OFTEN
    return MORE_OFTEN if promised < low else AS_PROMISED


def _warnings(
    became: list[Done], known: NDArray[np.bool_], judged: int, posterior: Posterior
) -> list[str]:
    said = []
    done = np.array([d.date is not None for d in became])
    unseen = int((done & ~known).sum())
    if unseen:
        said.append(
            f"{unseen} of the planned sessions done lie after the last fitted reading "
            f"({posterior.last_night}) and are not judged yet; run slackwater fit."
        )
    if 0 < judged < FEW:
        said.append(
            f"With {judged} judged so far, only a promise that is far off would show; "
            f"{FEW} or more say something."
        )
    return said
