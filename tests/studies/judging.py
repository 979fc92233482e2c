"""One made season, judged: fit it once and hold every answer against the truth."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from scoringrules import crps_ensemble

from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.intervals import interval_of
from slackwater.fitting.answers.recovery import next_session_days, recovery, typical_days
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.measures.verdicts import Effect, verdict
from slackwater.fitting.state.ahead import look_ahead
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season
from tests.studies.asking import (
    coming_readings,
    covers,
    departures,
    learn,
    share_held,
    unexplained,
)
from tests.studies.generator import AHEAD, MEASURE, Made, make
from tests.studies.oracle import Oracle

CATCH_UP_FROM = 8  # mornings before the season's end


def judge(kind: str, seed: int) -> dict[str, Any]:
    """Return how the answers about one made season compare with its truth.

    Keys: `types` (one entry a type: its true `days`, then cover, width and error of typical and
    next-session days, and what `share_held` says), `baseline` (in ms), `noise` (SD of an ordinary
    night, relative), `coming` (the nights of rest after the season: cover, CRPS, the oracle's),
    `ratio` (where there is a measure), `flagged` (whether something unexplained is told, in
    percent), `residuals` (what departs in them), `fit` (divergences, worst R-hat and ESS,
    seconds). `refused` instead of the answers where slackwater gives none.
    """
    made = make(kind, seed)
    season = Season.from_tables("made", **made.tables)
    posterior, facts = learn(season, seed)
    athlete = Athlete(season, posterior)
    try:
        now = baseline(athlete)
    except NoAnswerError as refusal:
        return {"kind": kind, "seed": seed, "refused": str(refusal), "fit": facts}
    flag = unexplained(athlete)
    noise = covers(now.night_to_night_sd_ln, made.noise)
    return {
        "kind": kind,
        "seed": seed,
        "refused": "",
        "types": _types(athlete, made),
        "baseline": covers(now.baseline_rmssd_ms, float(np.exp(made.level[-1]))),
        "noise": {**noise, "error": noise["error"] / made.noise},
        "coming": _coming(athlete, made, seed),
        "ratio": _ratio(athlete, made),
        "flagged": flag.percent if flag else None,
        "residuals": departures(athlete),
        "fit": facts,
    }


def decide(kind: str, nights: int, seed: int) -> dict[str, Any]:
    """Return the verdict on the measure of one made season, and the sessions behind it."""
    made = make(kind, seed, nights)
    season = Season.from_tables("made", **made.tables)
    posterior, facts = learn(season, seed)
    athlete = Athlete(season, posterior)
    answer = compare_intervention(athlete, MEASURE)
    return {
        "kind": kind,
        "nights": nights,
        "verdict": _by_the_rule(athlete),
        "per_arm": min(answer.sessions_with, answer.sessions_without),
        **covers(answer.rate_ratio, float(made.ratio or 1.0)),
        "fit": facts,
    }


def catch_up(seed: int) -> dict[str, Any]:
    """Return how far answers after 7 mornings without a new fit lie from a new fit's.

    In posterior standard deviations of the new fit, for each answer's median.
    """
    made = make("as modelled", seed)
    season = Season.from_tables("made", **made.tables)
    early = season.through(season.nights[-CATCH_UP_FROM])
    posterior, _ = learn(early, seed)
    begun = time.perf_counter()
    try:
        updated = Athlete(season, posterior).now
    except NoAnswerError as refusal:
        return {"refused": str(refusal), "apart": {}}
    seconds = time.perf_counter() - begun
    refitted = Athlete(season, learn(season, seed)[0]).now
    apart = {}
    for name, values in _answers(refitted).items():
        other = np.median(_answers(updated)[name], axis=0)
        distance = np.abs(np.median(values, axis=0) - other) / values.std(axis=0)
        apart[name] = [float(d) for d in np.atleast_1d(distance)]
    return {"refused": "", "apart": apart, "seconds": seconds}


def _answers(now: Standing) -> dict[str, np.ndarray]:
    return {
        "typical_days": typical_days(now),
        "dip_left": now.dips.sum(axis=1),
        "baseline": now.level.mean[0],
        "tomorrow": look_ahead(now, 1, []).reading[:, 0],
    }


def _types(athlete: Athlete, made: Made) -> list[dict[str, Any]]:
    answer, now = recovery(athlete), athlete.now
    of_typical, of_next = typical_days(now), next_session_days(now)
    rows = []
    for name in map(str, answer.types[n.TYPE].values):
        its, which = answer.types.sel({n.TYPE: name}), now.types.index(name)
        typical, following = (interval_of(its[d]) for d in ("typical_days", "next_session_days"))
        rows.append(
            {
                "type": name,
                "sessions": int(its["sessions"]),
                "days": made.days[name],
                "typical": covers(typical, made.days[name])
                | share_held(of_typical[:, which], made.days[name]),
                "next_days": made.next_days[name],
                "next": covers(following, made.next_days[name])
                | share_held(of_next[:, which], made.next_days[name]),
            }
        )
    return rows


def _coming(athlete: Athlete, made: Made, seed: int) -> list[dict[str, float]]:
    draws = coming_readings(athlete, AHEAD)
    low, high = np.quantile(draws, [0.1, 0.9], axis=0)
    oracle = Oracle(made, seed)
    rows = []
    for step, reading in enumerate(made.coming):
        best = oracle.ahead(made.nights - 1, step + 1)
        rows.append(
            {
                "horizon": step + 1,
                "cover": float(low[step] <= reading <= high[step]),
                "width": float(high[step] - low[step]),
                "crps": float(crps_ensemble(reading, draws[::2, step], estimator="fair")),
                "oracle": float(crps_ensemble(reading, best, estimator="fair")),
            }
        )
    return rows


def _ratio(athlete: Athlete, made: Made) -> dict[str, Any] | None:
    if made.ratio is None:
        return None
    answer = compare_intervention(athlete, MEASURE)
    facts = {"verdict": _by_the_rule(athlete), "truth": made.ratio}
    return covers(answer.rate_ratio, made.ratio) | facts


def _by_the_rule(athlete: Athlete) -> str:
    """Return what a trial's rule says of the measure, which is not told outside of a trial."""
    prior = athlete.posterior.priors.log_rate_ratio
    return verdict(Effect.of(athlete.now.log_ratio(MEASURE), prior).below)
