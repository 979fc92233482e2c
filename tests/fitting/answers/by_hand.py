"""Seasons and posteriors made by hand, so that answers can be worked out on paper."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike

from slackwater.fitting import Athlete, Posterior
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model import names as n
from slackwater.model.priors import Priors
from slackwater.model.season import DAY, Season
from slackwater.model.unexplained import Watched

FIRST: Final = np.datetime64("2031-03-01")
CHAINS: Final = 2
CLEAN: Final = FitChecks(0, 4000, 1.0, 2000.0, 2000.0)

Dated = Iterable[tuple[int, str]]


class Known(NamedTuple):
    """The true state of a made-up athlete; each value a number or one number a draw.

    Attributes:
        types: each type's dip at dose 1, as its first night shows it (ln), and half-life (days).
        stressors: the same of each stressor.
        dips_left: dip left of a type or stressor on the last morning, ln.
        first_night: share of a session's dip that its first night shows.
        level: baseline on the last morning, ln ms.
        level_variance: how uncertain it is for each draw.
        rate_ratios: recovery rate with over without each intervention.
        lifts: what each of them adds to the reading of a night of its use, ln; 0 if left out.
        sensor_steps: what each sensor but the latest adds, ln.
    """

    types: Mapping[str, tuple[ArrayLike, ArrayLike]] = {}
    stressors: Mapping[str, tuple[ArrayLike, ArrayLike]] = {}
    dips_left: Mapping[str, ArrayLike] = {}
    level: ArrayLike = 4.0
    level_variance: ArrayLike = 0.0
    noise_sd: ArrayLike = 0.1
    lingering_odds: ArrayLike = 1e-12
    noise_tail: ArrayLike = 0.5
    drift_sd: ArrayLike = 0.01
    session_sd: ArrayLike = 0.2
    first_night: ArrayLike = 1.0
    start_half_life: ArrayLike = 2.5
    rate_ratios: Mapping[str, ArrayLike] = {}
    lifts: Mapping[str, ArrayLike] = {}
    sensor_steps: Mapping[str, ArrayLike] = {}


def season(
    nights: int = 30,
    sessions: Dated = (),
    *,
    doses: Mapping[int, float] | None = None,
    interventions: Dated = (),
    stressors: Dated = (),
    attributes: Mapping[str, Mapping[str, str]] | None = None,
    readings: ArrayLike | None = None,
    sensors: Sequence[str] | None = None,
    name: str = "spring",
) -> Season:
    """Build a season; what is dated stands by its day, counted from the first reading's."""

    def table(rows: Dated, label: str) -> pd.DataFrame:
        listed = list(rows)
        days = [FIRST + DAY * day for day, _ in listed]
        return pd.DataFrame(
            {"date": np.array(days, "datetime64[D]"), label: [what for _, what in listed]}
        )

    values = np.full(nights, 4.0) if readings is None else np.asarray(readings, float)
    read = pd.DataFrame({"date": FIRST + DAY * np.arange(len(values)), "log_rmssd": values})
    if sensors is not None:
        read["sensor"] = list(sensors)
    done = table(sessions, "type")
    done["dose"] = [(doses or {}).get(day, 1.0) for day, _ in list(sessions)]
    kinds = None
    if attributes is not None:
        kinds = pd.DataFrame([{"type": t, **given} for t, given in attributes.items()])
    return Season.from_tables(
        name,
        read[np.isfinite(values)],
        done,
        kinds,
        table(interventions, "intervention"),
        table(stressors, "stressor"),
    )


def posterior(
    fitted: Season, known: Known, draws: int = 500, checks: FitChecks = CLEAN, seed: int = 7
) -> Posterior:
    """Return a posterior that says just this of a season, `CHAINS` times `draws` draws."""
    fitted = fitted.observed()
    return Posterior(
        tree=xr.DataTree.from_dict(
            {"posterior": _parameters(known, draws), "last_night": _last_night(known, draws)}
        ),
        season_name=fitted.name,
        fingerprint=fitted.fingerprint(),
        last_night=fitted.last_night,
        seed=seed,
        checks=checks,
        priors=Priors(),
        stretches=(),
        watched=Watched(
            levels=fitted.data[n.LOG_RMSSD].values,
            noise_variance=float(np.median(np.asarray(known.noise_sd))) ** 2,
            transient_variance=0.0,
            persistence=0.5,
        ),
    )


def by_seed(seed: int) -> Posterior:
    """Return a small posterior of `SEASON` that can be told from that of another seed."""
    known = Known({"row": (0.2, 1.0)}, level=4.0 + seed)
    return posterior(SEASON, known, draws=50, seed=seed)


def athlete_of(now: Season, known: Known, draws: int = 500) -> Athlete:
    """Return the athlete of a season whose posterior says just this."""
    return Athlete(now, posterior(now, known, draws))


SEASON: Final = season(30, [(3, "row"), (9, "row")])


def _parameters(known: Known, draws: int) -> xr.Dataset:
    kinds = (
        (n.TYPE, known.types, n.TYPE_LOG_DIP, n.TYPE_LOG_RATE),
        (n.STRESSOR, known.stressors, n.STRESSOR_LOG_DIP, n.STRESSOR_LOG_RATE),
    )
    data: dict[str, Any] = {
        n.NOISE_SD: _each_draw(known.noise_sd, draws),
        n.LINGERING_ODDS: _each_draw(known.lingering_odds, draws),
        n.PERSISTENCE_ODDS: _each_draw(1.0, draws),
        n.NOISE_TAIL: _each_draw(known.noise_tail, draws),
        n.DRIFT_SD: _each_draw(known.drift_sd, draws),
        n.SESSION_SD: _each_draw(known.session_sd, draws),
        n.FIRST_NIGHT: _each_draw(1.0, draws),
    }
    coords: dict[str, Any] = {n.CHAIN: np.arange(CHAINS), n.DRAW: np.arange(draws)}
    if known.types:
        data[n.FIRST_NIGHT] = _each_draw(known.first_night, draws)
    for dim, members, log_dip, log_rate in kinds:
        if members:
            coords[dim] = list(members)
            data[log_dip] = _side_by_side(dim, [np.log(d) for d, _ in members.values()], draws)
            rates = [np.log(np.log(2) / np.asarray(h)) for _, h in members.values()]
            data[log_rate] = _side_by_side(dim, rates, draws)
    for dim, ratios, name, form in (
        (n.INTERVENTION, known.rate_ratios, n.LOG_RATE_RATIO, np.log),
        (
            n.INTERVENTION,
            dict.fromkeys(known.rate_ratios, 0.0) | dict(known.lifts),
            n.LIFT,
            np.asarray,
        ),
        (n.OTHER_SENSOR, known.sensor_steps, n.SENSOR_STEP, np.asarray),
    ):
        if ratios:
            coords[dim] = list(ratios)
            data[name] = _side_by_side(dim, [form(r) for r in ratios.values()], draws)
    return xr.Dataset(data, coords)


def _last_night(known: Known, draws: int) -> xr.Dataset:
    members = {**known.types, **known.stressors}
    half_lives = [half_life for _, half_life in members.values()]
    rates = [np.log(2) / np.asarray(h) for h in [*half_lives, known.start_half_life]]
    groups = [*members, n.START]
    dips = [known.dips_left.get(group, 0.0) for group in groups]
    return xr.Dataset(
        {
            "rate": _side_by_side(n.GROUP, rates, draws),
            "dip": _side_by_side(n.GROUP, dips, draws),
            "level_mean": _side_by_side(n.STATE, [known.level, 0.0], draws),
            "level_covariance": _covariance(known.level_variance, draws),
        },
        coords={n.CHAIN: np.arange(CHAINS), n.DRAW: np.arange(draws), n.GROUP: groups}
        | {dim: ["baseline", "transient"] for dim in (n.STATE, n.STATE_TOO)},
    )


def _covariance(level_variance: ArrayLike, draws: int) -> Any:
    values = np.zeros((CHAINS, draws, 2, 2))
    values[..., 0, 0] = _each_draw(level_variance, draws)[1]
    return (n.CHAIN, n.DRAW, n.STATE, n.STATE_TOO), values


def _each_draw(value: ArrayLike, draws: int) -> Any:
    values = np.broadcast_to(np.asarray(value, float), CHAINS * draws)
    return (n.CHAIN, n.DRAW), values.reshape(CHAINS, draws).copy()


def _side_by_side(dim: str, members: Sequence[ArrayLike], draws: int) -> Any:
    columns = [_each_draw(member, draws)[1] for member in members]
    return (n.CHAIN, n.DRAW, dim), np.stack(columns, axis=-1)
