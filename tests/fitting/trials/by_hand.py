"""Trials made by hand: plans, and seasons that follow them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from slackwater.fitting import Athlete
from slackwater.fitting.measures.verdicts import VERDICT_RULE
from slackwater.fitting.records.lots import ASSIGNMENT, ASSIGNMENT_RECOVERED, RECOVERED
from slackwater.fitting.records.trials import Analysed, Planned, Trial, orders
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST

WRITTEN = dt.datetime(2031, 3, 1, 7, 30, tzinfo=dt.UTC)
MEASURE = "ice bath"
# Its lots, by sha256sum. row: without-with, with-without, with-without, without-with;
# lift: with-without, without-with, without-with, with-without.
SEED = 1


def day(number: int) -> np.datetime64:
    """The day so many days after the season's first reading."""
    later: np.datetime64 = FIRST + DAY * number
    return later


def plan(start: int = 0, per_arm: int = 4, seed: int = SEED, **changes: Any) -> Planned:
    facts: dict[str, Any] = {
        "trial": 1,
        "written": WRITTEN,
        "measure": MEASURE,
        "start": day(start).astype(object),
        "sessions_per_arm": per_arm,
        "smallest_days": 0.5,
        "wanted_chance": 0.8,
        "expected_chance": 0.81,
        "types": {"row": 0.6, "lift": 0.4},
        "seed": seed,
        "verdict_rule": VERDICT_RULE,
    }
    facts |= changes
    drawn = [*facts["types"], *([RECOVERED] if facts.get("recovered_after") else [])]
    facts.setdefault("assignment", ASSIGNMENT if RECOVERED not in drawn else ASSIGNMENT_RECOVERED)
    facts.setdefault("pairs", orders(facts["seed"], drawn, per_arm))
    return Planned(**facts)


def analysed(**changes: Any) -> Analysed:
    """A verdict of the first trial."""
    facts: dict[str, Any] = {
        "trial": 1,
        "written": WRITTEN,
        "last_night": dt.date(2031, 5, 1),
        "sessions_with": 4,
        "sessions_without": 5,
        "verdict": "faster",
        "log_rate_ratio_mean": 0.4,
        "log_rate_ratio_sd": 0.15,
        "chance_worth_having": 0.9,
        "p_value": None,
    }
    return Analysed(**facts | changes)


def trial(start: int = 0, per_arm: int = 4, **changes: Any) -> Trial:
    return Trial(plan(start, per_arm, **changes))


def season(nights: int, sessions: by_hand.Dated, used: Any = (), **others: Any) -> Season:
    """A season with the measure used on these days."""
    return by_hand.season(nights, sessions, interventions=[(d, MEASURE) for d in used], **others)


def unfitted(made: Season, *trials: Trial) -> Athlete:
    """An athlete with these trials, of whom nothing was learnt."""
    return Athlete(made, trials=trials)
