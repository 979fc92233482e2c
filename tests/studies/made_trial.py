"""One made season with a measure in it, used by lots or as the athlete likes, and what is told.

Cells that differ in the lift alone have one season and one fit: see `lifted`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from slackwater.fitting import Athlete
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.measures.verdicts import VERDICT_RULE
from slackwater.fitting.records.lots import (
    ASSIGNMENT_RECOVERED,
    LONGEST_STRETCH,
    RECOVERED,
    WITH,
)
from slackwater.fitting.records.trials import Planned, Trial, orders
from slackwater.fitting.sampling.brief import fit_briefly
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.trials.analyse import analyse_trial
from slackwater.fitting.trials.stretches import (
    LAST_MORNING,
    assigned,
    assigned_days,
    counted,
    stretches_of,
)
from slackwater.model.errors import NoAnswerError
from slackwater.model.priors import Priors
from slackwater.model.season import DAY, Season
from tests.studies.asking import covers
from tests.studies.generator import FIRST_DAY, MEASURE, Made, Measure, make
from tests.studies.kinds import AS_MODELLED
from tests.studies.lifted import moved

WEEKS_BEFORE: Final = 6
LEAST_TO_SHORTEN: Final = 0.5  # days: the types that a plan takes into a trial
RECOVERED_WITHIN: Final = (LAST_MORNING, LONGEST_STRETCH)  # days, as a plan has it
AUTOCORRELATED: Final = "noise autocorrelation"


class Cell(NamedTuple):
    """What the measure does, and in which kind of season."""

    measure: Measure
    kind: str = AS_MODELLED


NOTHING: Final = Measure()
LIFTED: Final = float(np.log(1.05))
FALSE: Final[Mapping[str, Cell]] = {
    "does nothing": Cell(NOTHING),
    "lifts readings by 5 %": Cell(Measure(lift=LIFTED)),
    "lifts readings by 10 %": Cell(Measure(lift=float(np.log(1.10)))),
    "nothing, noise autocorrelation 0.2": Cell(NOTHING, f"{AUTOCORRELATED} 0.2"),
    "nothing, noise autocorrelation 0.4": Cell(NOTHING, f"{AUTOCORRELATED} 0.4"),
}
TRUE: Final[Mapping[str, Cell]] = {
    "recovery 1.25 times as fast": Cell(Measure(1.25)),
    "recovery 1.5 times as fast": Cell(Measure(1.5)),
    "recovery 2 times as fast": Cell(Measure(2.0)),
    "dips 30 % shallower": Cell(Measure(shallower=0.3)),
}
TIRED: Final = "nothing, used only when tired"
WEEKS_ON: Final = {f"{name}, week on, week off": cell for name, cell in FALSE.items()}


def groups(cells: Mapping[str, Cell]) -> list[list[str]]:
    """Return the names of cells, those together that differ in the lift alone.

    The middle lift comes first, as its fit serves the others.
    """
    found: dict[Cell, list[str]] = {}
    for name, cell in cells.items():
        found.setdefault(cell._replace(measure=cell.measure._replace(lift=0.0)), []).append(name)
    return [
        sorted(each, key=lambda name: abs(cells[name].measure.lift - LIFTED))
        for each in found.values()
    ]


def in_a_trial(names: Sequence[str], weeks: int, seed: int) -> dict[str, Any]:
    """Return by name how trials of so many weeks end that share a fit."""
    cells, fits = {**FALSE, **TRUE}, _Fits(seed)
    return {name: _tried(cells[name], weeks, seed, fits) for name in names}


def _tried(cell: Cell, weeks: int, seed: int, fits: _Fits) -> dict[str, Any]:
    """Return how a trial ends: its verdict, and what its ranges hold."""
    nights = 7 * (WEEKS_BEFORE + weeks)
    bare = make(cell.kind, seed, nights)
    plan = _plan(bare, seed)
    begun = stretches_of(Season.from_tables("made", **bare.tables), assigned(plan))
    plan = plan.model_copy(update={"sessions_per_arm": min(counted(begun).values())})
    days = assigned_days(begun, WITH)
    season, made = _season(cell, seed, nights, lambda _: days)
    try:
        answer = analyse_trial(Athlete(season, trials=[Trial(plan)]), fits.ask(cell))
    except NoAnswerError as refusal:
        return {"refused": str(refusal)}
    left = _to_shorten(made)
    mean = sum(share * left[label] for label, share in plan.types.items())
    saved = mean * (1 - 1 / cell.measure.ratio)
    return {
        "refused": "",
        "verdict": answer.verdict,
        "per_arm": plan.sessions_per_arm,
        "recovered": sum((answer.recovered_days or {}).values()),
        "p_value": answer.randomisation_test.p_value,
        "chance": answer.chance_faster,
        "mean": answer.log_rate_ratio_mean,
        "sd": answer.log_rate_ratio_sd,
        "ratio": covers(answer.rate_ratio, cell.measure.ratio),
        "saved": covers(answer.typical_days_saved, saved),
        "lift": covers(answer.lift_percent, 100 * float(np.expm1(cell.measure.lift))),
    }


def outside(names: Sequence[str], weeks: int, seed: int) -> dict[str, Any]:
    """Return by name what is told of measures that are used every other week, or when tired."""
    fits = _Fits(seed)
    return {name: _free(name, weeks, seed, fits) for name in names}


def _free(name: str, weeks: int, seed: int, fits: _Fits) -> dict[str, Any]:
    cell, nights = WEEKS_ON.get(name, Cell(NOTHING)), 7 * (WEEKS_BEFORE + weeks)
    season, _ = _season(cell, seed, nights, _when_tired(seed, nights) if name == TIRED else _weeks)
    try:
        answer = compare_intervention(fits.ask(cell)(season), MEASURE)
    except NoAnswerError as refusal:
        return {"refused": str(refusal)}
    return {
        "refused": "",
        "verdict": answer.verdict,
        "chance": answer.chance_faster,
        "ratio": covers(answer.rate_ratio, cell.measure.ratio),
    }


class _Fits:
    """What was learnt for one cell, moved for those that differ in the lift alone."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.first: tuple[float, Posterior] | None = None

    def ask(self, cell: Cell) -> Callable[[Season], Athlete]:
        def ask(season: Season) -> Athlete:
            lift = cell.measure.lift
            if self.first is None:
                self.first = lift, fit_briefly(season, priors=Priors(), seed=self.seed)
            at, posterior = self.first
            if lift != at:
                posterior = moved(posterior, season, lift - at, self.seed)
            return Athlete(season, posterior)

        return ask


def _season(
    cell: Cell, seed: int, nights: int, use: Callable[[pd.DataFrame], Any]
) -> tuple[Season, Made]:
    made = make(cell.kind, seed, nights, measure=cell.measure._replace(use=use))
    return Season.from_tables("made", **made.tables), made


def _weeks(sessions: pd.DataFrame) -> Any:
    """Return every other week from the third on."""
    last = sessions["date"].max().to_datetime64().astype("datetime64[D]")
    days = np.arange(np.datetime64(FIRST_DAY), last + DAY)
    week = np.arange(len(days)) // 7
    return days[(week >= 2) & (week % 2 == 0)]


def _when_tired(seed: int, nights: int) -> Callable[[pd.DataFrame], Any]:
    """Return the use of a measure on days that begin with more than the threshold of dip left."""
    made = make(AS_MODELLED, seed, nights)
    tired = np.flatnonzero(made.dip > 0.5 * made.noise)
    days = np.datetime64(FIRST_DAY) + tired[tired >= 14] * DAY
    return lambda _: days


def _to_shorten(made: Made) -> dict[str, float]:
    return {label: max(0.0, days - 1) for label, days in made.days.items()}


def _plan(made: Made, seed: int) -> Planned:
    """Return the plan of a trial of the types that leave something to shorten."""
    left = _to_shorten(made)
    labels = sorted((t for t in left if left[t] >= LEAST_TO_SHORTEN), key=lambda t: -left[t])
    labels = labels or [max(left, key=lambda t: left[t])]
    surely = {t: int(np.clip(np.ceil(1.3 * made.days[t]), *RECOVERED_WITHIN)) for t in labels}
    start = dt.date.fromisoformat(FIRST_DAY) + dt.timedelta(weeks=WEEKS_BEFORE)
    return Planned(
        trial=1,
        written=dt.datetime.combine(start, dt.time(), dt.UTC),
        measure=MEASURE,
        start=start,
        sessions_per_arm=2,
        smallest_days=1.0,
        wanted_chance=0.8,
        expected_chance=0.5,
        types=dict.fromkeys(labels, 1 / len(labels)),
        seed=seed,
        recovered_after=surely,
        assignment=ASSIGNMENT_RECOVERED,
        pairs=orders(seed, [*labels, RECOVERED], 60),
        verdict_rule=VERDICT_RULE,
    )
