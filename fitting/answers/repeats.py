"""How far repeats of a session type agree, and how many more would settle its answer."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.more_sessions import TypeDraws, expected_widths, interval_width
from slackwater.fitting.answers.recovery import log_dips, recovery
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.support import thin_types
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.own_recovery import UNDISTURBED, OwnRecovery, own_recovery
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, unknown_name
from slackwater.model.season import DAY

PROMISE: Final = 0.8
NARROW_DAYS: Final = 1.0
MORE: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)
FEW: Final = 4  # so many of MORE; narrowing is averaged over them, as one alone drowns in noise
NEXT_FEW: Final = MORE[FEW - 1]
THINNED: Final = 2000
PAIRS: Final = 12
NARROWING_RULE: Final = (
    f"what each of the next {NEXT_FEW} undisturbed sessions is expected to take off the width of "
    "the range of typical days"
)
GAIN_RULE: Final = (
    "a repeat pays most where narrows by, times the type's share of the sessions logged, is "
    "largest; types whose range is narrower than one day already are left out"
)
PROMISE_RULE: Final = (
    "promised: the chance of being back by the proposed day, of new sessions at these doses and "
    "with these measures; found: the share of the logged ones that was, by their own dips"
)


def repeats(
    now: Standing,
    posterior: Posterior,
    session_type: str | None = None,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer how far the repeats of each type agree, and how many more are needed.

    Args:
        now: the state, from `standing`.
        posterior: what it was made from.
        session_type: the one type to answer for; all if left out.
        level: credible mass of every interval.

    Returns:
        Dimension `type`: `sessions`, `undisturbed`, `scatter_factor` (bound; how far its
        sessions' dips differ, as a factor), `shortest_days` and `longest_days` (of the
        sessions' medians), `typical_days` (bound), `proposed_days`, `promised_share`,
        `found_share` (bound), `judged`, `more_needed` (NaN: more than 64),
        `expected_width_days` (`more`), `width_days`, `narrowing_days`,
        `share_of_sessions`, `gain_days`.
        Dimension `session`: `session_date`, `session_type`, `dose`, `own_dip_ln` (bound),
        `own_days` (bound), `over`, `disturbed_by`, `disturbed_after`. Scalar
        `session_factor` (bound). Attribute `repeat_next`, a type, or empty.

    Raises:
        QuestionError: no such type.
        NoAnswerError: no type can be answered, or this one cannot be told apart.
    """
    known = recovery(now, level)
    answered = [str(t) for t in known[n.TYPE].values]
    refused = known.attrs["refused"]
    types = answered if session_type is None else [_asked(session_type, answered, refused)]
    chosen = known.sel({n.TYPE: types})
    own = own_recovery(now, posterior)
    learnt = _learnt(now, known, types, level)
    data = xr.Dataset(
        {
            "sessions": chosen["sessions"],
            "typical_days": chosen["typical_days"],
            **_agreement(own, types, level),
            **_promise(now, own, chosen["days_for_chance"].sel(chance=PROMISE), level),
            **learnt.sel({n.TYPE: types}).data_vars,
            **_sessions(own, types, level),
            "session_factor": interval(np.exp(now.parameter(n.SESSION_SD)), level),
        },
        coords={n.TYPE: types},
    )
    return answer(
        data.drop_vars("chance", errors="ignore"),
        "repeats",
        now,
        level,
        [
            *dict.fromkeys(refused.values()),
            *thin_types(now, types),
            *_never_alone(data),
            *_not_fitted(now, posterior),
        ],
        repeat_next=_repeat_next(learnt),
        narrowing_rule=NARROWING_RULE,
        gain_rule=GAIN_RULE,
        promise_rule=PROMISE_RULE,
        refused=refused,
    )


def _asked(session_type: str, answered: list[str], refused: dict[str, str]) -> str:
    if session_type in refused:
        raise NoAnswerError(refused[session_type])
    if session_type not in answered:
        raise unknown_name("session type", session_type, answered)
    return session_type


def _agreement(own: OwnRecovery, types: list[str], level: float) -> dict[str, Any]:
    alone = own.over & (np.array(own.disturbed_by) == UNDISTURBED)
    middles = np.median(own.days, axis=0)
    mine = [own.types == label for label in types]
    factors = [
        np.exp(np.sqrt((own.scatter[:, which] ** 2).mean(axis=1)))
        if which.sum() > 1
        else np.full(len(own.scatter), np.nan)  # one session agrees with nothing
        for which in mine
    ]
    return {
        "undisturbed": (n.TYPE, [int((which & alone).sum()) for which in mine]),
        "scatter_factor": interval(np.stack(factors, axis=1), level, (n.TYPE,)),
        "shortest_days": (n.TYPE, [float(middles[which].min()) for which in mine]),
        "longest_days": (n.TYPE, [float(middles[which].max()) for which in mine]),
    }


def _promise(
    now: Standing, own: OwnRecovery, proposed: xr.DataArray, level: float
) -> dict[str, Any]:
    """Hold the share of sessions that was back by the proposed day against the promise."""
    rng = now.rng()
    passed = (now.night - own.dates) / DAY
    judged = [
        np.flatnonzero((own.types == label) & (passed >= float(days)))
        for label, days in zip(proposed[n.TYPE].values, proposed, strict=True)
    ]
    each = list(zip(judged, proposed.values, strict=True))
    promised = [
        float((own.days_of_another[:, which] <= days).mean()) if len(which) else np.nan
        for which, days in each
    ]
    found = [share_of(own.days[:, which] <= days, rng) for which, days in each]
    return {
        "proposed_days": (n.TYPE, proposed.values),
        "promised_share": (n.TYPE, promised),
        "found_share": interval(np.stack(found, axis=1), level, (n.TYPE,)),
        "judged": (n.TYPE, [len(which) for which in judged]),
    }


def share_of(hits: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    """Return draws of the share behind hits that are themselves known by draws, shape (S,).

    For hits that are certain, Jeffreys' binomial interval, which suits few trials (Brown,
    Cai & DasGupta 2001, Statistical Science 16:101-133); else the mixture of each draw's.

    Args:
        hits: shape (S, trials).
        rng: randomness.
    """
    trials = hits.shape[1]
    if trials == 0:
        return np.full(len(hits), np.nan)
    count = hits.sum(axis=1)
    return np.asarray(rng.beta(count + 0.5, trials - count + 0.5))


def type_draws(now: Standing, label: str) -> TypeDraws:
    """Return what is known of one type, draw by draw."""
    which = list(now.draws[n.TYPE].values).index(label)
    return TypeDraws(
        dip=np.exp(log_dips(now)[:, which]),
        first_night=now.parameter(n.FIRST_NIGHT),
        rate=np.exp(now.parameter(n.TYPE_LOG_RATE)[:, which]),
        noise_sd=now.parameter(n.NOISE_SD),
        session_sd=now.parameter(n.SESSION_SD),
        drift_sd=now.parameter(n.DRIFT_SD),
        level_variance=now.level_variance,
    )


def _learnt(now: Standing, known: xr.Dataset, shown: list[str], level: float) -> xr.Dataset:
    """Return how wide each type's range is, and what more sessions of it would take off.

    Args:
        now: the state.
        known: the answer of `recovery`.
        shown: types for which it is also asked how many are needed.
        level: credible mass.

    Returns:
        Dimension `type`: `width_days`, `expected_width_days` (`more`; NaN where it was not
        needed to go so far), `more_needed` (NaN: more than looked at), `narrowing_days`,
        `share_of_sessions`, `gain_days`.
    """
    types = [str(t) for t in known[n.TYPE].values]
    before = np.empty(len(types))
    widths = np.full((len(types), len(MORE)), np.nan)
    for row, label in enumerate(types):
        draws = type_draws(now, label).thinned(THINNED)
        before[row] = interval_width(draws, level)
        far = MORE if label in shown and before[row] >= NARROW_DAYS else MORE[:FEW]
        widths[row, : len(far)] = expected_widths(
            draws, far, PAIRS, level, now.rng(), narrow=NARROW_DAYS, at_least=NEXT_FEW
        )
    narrow = widths < NARROW_DAYS
    needed = np.where(narrow.any(axis=1), np.array(MORE)[narrow.argmax(axis=1)], np.nan)
    share = known["sessions"].values / int(known["sessions"].sum())
    narrowing = (before - widths[:, FEW - 1]) / NEXT_FEW
    columns = {
        "width_days": before,
        "more_needed": np.where(before < NARROW_DAYS, 0.0, needed),
        "narrowing_days": narrowing,
        "share_of_sessions": share,
        "gain_days": narrowing * share,
    }
    return xr.Dataset(
        {
            **{key: (n.TYPE, values) for key, values in columns.items()},
            "expected_width_days": ((n.TYPE, "more"), widths),
        },
        coords={n.TYPE: types, "more": list(MORE)},
    )


def _repeat_next(learnt: xr.Dataset) -> str:
    """Return the type that a repeat of would pay most; empty where all are settled."""
    gain = learnt["gain_days"].where(learnt["width_days"] >= NARROW_DAYS)
    return "" if bool(gain.isnull().all()) else str(gain.idxmax(n.TYPE).item())


def _sessions(own: OwnRecovery, types: list[str], level: float) -> dict[str, Any]:
    shown = np.flatnonzero(np.isin(own.types, types))
    return {
        "session_date": (n.SESSION, own.dates[shown].astype("datetime64[ns]")),
        "session_type": (n.SESSION, own.types[shown]),
        "dose": (n.SESSION, own.doses[shown]),
        "own_dip_ln": interval(own.first_night_dips[:, shown], level, (n.SESSION,)),
        "own_days": interval(own.days[:, shown], level, (n.SESSION,)),
        "over": (n.SESSION, own.over[shown]),
        "disturbed_by": (n.SESSION, [own.disturbed_by[i] for i in shown]),
        "disturbed_after": (n.SESSION, own.disturbed_after[shown]),
    }


def _never_alone(data: xr.Dataset) -> list[str]:
    labels = [str(t) for t in data[n.TYPE].values[data["undisturbed"].values == 0]]
    if not labels:
        return []
    listed = ", ".join(repr(label) for label in labels)
    return [
        f"Never left undisturbed until it was over: {listed}. What is said of it rests on how the "
        "model splits overlapping dips; leave the next one undisturbed."
    ]


def _not_fitted(now: Standing, posterior: Posterior) -> list[str]:
    dates = now.season.data[n.SESSION_DATE].values.astype("datetime64[D]")
    since = int((dates >= posterior.last_night).sum())
    if not since:
        return []
    what = "session is" if since == 1 else f"{since} sessions are"
    return [
        f"The latest {what} not in the fit and not listed; run slackwater fit again once a "
        "reading shows it."
    ]
