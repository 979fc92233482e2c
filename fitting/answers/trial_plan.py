"""How large a trial of one recovery measure must be, and its assignment."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import VERDICT_RULE
from slackwater.fitting.answers.intervals import (
    BOUND,
    BOUNDS,
    DEFAULT_LEVEL,
    check_level,
    interval,
)
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.answers.standing import Standing
from slackwater.fitting.answers.support import confounded_types
from slackwater.fitting.trials import worth
from slackwater.fitting.trials.design import ASSIGNMENT
from slackwater.fitting.trials.record import Planned, Trial, orders
from slackwater.fitting.trials.rehearsal import (
    Habits,
    Rehearsal,
    Rehearsed,
    habits_of,
    outside,
    past_of,
    rehearse_all,
    shares_of,
    truth_of,
)
from slackwater.fitting.trials.stretches import Assigned, logged_days
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY

SIZES: Final = (8, 12, 16, 24, 32)
REHEARSALS: Final = 40
BOOTSTRAPS: Final = 400
LARGEST: Final = 64  # sessions per arm, unless asked for by number: beyond, few hold out
LEAST_TO_SHORTEN: Final = 0.5  # days: a type with less left after its first reading shows nothing
SMALLEST: Final = 0.5
CHANCE: Final = 0.8

Run = Callable[[Sequence[Rehearsal]], list[Rehearsed]]


@dataclass(frozen=True)
class Wanted:
    """What a trial is wanted for.

    Attributes:
        measure: the recovery measure, as it will be logged.
        smallest: the smallest effect worth having, days saved for a typical session.
        chance: the wanted chance of the verdict "faster" if that effect is true.
        sessions: sessions per arm, None to find the number.
        seed: of the assignment.
        start: first day of the trial, the day after the last reading if left out.
    """

    measure: str
    seed: int
    smallest: float = SMALLEST
    chance: float = CHANCE
    sessions: int | None = None
    start: np.datetime64 | None = None


def plan_trial(
    now: Standing,
    wanted: Wanted,
    trials: Sequence[Trial] = (),
    level: float = DEFAULT_LEVEL,
    run: Run = rehearse_all,
) -> xr.Dataset:
    """Answer how many sessions a trial needs, by simulating whole trials and fitting them.

    Args:
        now: the state, from `standing`.
        wanted: what the trial is for.
        trials: the season's trials so far.
        level: mass of every range.
        run: simulates the trials.

    Returns:
        Dimension `size`: `simulated`, `faster` (how many ended with that verdict),
        `faster_share` (size, bound), `chance` (by the smooth curve), `weeks`. Scalars
        `sessions_per_arm`, `expected_chance` (bound), `planned_weeks`, `smallest_found`
        (days saved that a trial of that size finds with the wanted chance), `smallest_ratio`
        (bound). Attribute `planned` holds all that the record will keep, None where no
        trial of at most 64 sessions per arm has the wanted chance.

    Raises:
        QuestionError: out of range, or another trial is open.
        NoAnswerError: nothing to learn it from, or too small an effect for any measure.
    """
    check_level(level)
    start = _check(now, wanted, trials)
    habits = habits_of(now.season)
    shares = _shares(now, habits)
    to_shorten = worth.typical_session(now, shares)
    effects = worth.log_ratio_for(to_shorten, wanted.smallest)
    _refuse_too_large(wanted, to_shorten, effects)
    possible = np.flatnonzero(np.isfinite(effects))
    chosen = possible[np.linspace(0, len(possible) - 1, REHEARSALS).astype(int)]
    lots = Assigned(now.season.last_night + DAY, list(shares), wanted.seed)
    results = run(_tasks(now, wanted, lots, habits, {int(s): effects[s] for s in chosen}))
    true = effects[chosen]
    information = np.array(
        [(1 / r.sd**2 - 1 / worth.PRIOR.sd**2) / r.sessions_per_arm for r in results]
    )
    sessions = wanted.sessions or worth.sessions_for(true, information, wanted.chance, LARGEST)
    shown = sessions or LARGEST
    data = _sizes(results, true, information, level).assign(
        sessions_per_arm=shown,
        expected_chance=_chance_range(true, information, shown, level),
        planned_weeks=_pace(results) * shown,
        smallest_found=_smallest_found(to_shorten[chosen], information, shown, wanted.chance),
        smallest_ratio=interval(np.exp(effects[possible]), level),
    )
    planned = None if sessions is None else _planned(wanted, start, shares, data)
    return answer(
        data,
        "trial plan",
        now,
        level,
        _warnings(now, wanted, effects, shares, data),
        measure=wanted.measure,
        smallest=wanted.smallest,
        wanted_chance=wanted.chance,
        types=shares,
        verdict_rule=VERDICT_RULE,
        planned=planned,
    )


def to_record(answer: xr.Dataset, trials: Sequence[Trial], written: dt.datetime) -> Planned:
    """Return the event that registers a planned trial.

    Raises:
        NoAnswerError: no trial of a sensible size would do.
    """
    planned = answer.attrs["planned"]
    if planned is None:
        raise NoAnswerError(_too_long(answer))
    number = 1 + max((t.plan.trial for t in trials), default=0)
    return Planned(trial=number, written=written, **planned)


def _too_long(answer: xr.Dataset) -> str:
    days = float(answer["smallest_found"])
    found = "No effect that is possible would be found with the chance asked for: "
    if np.isfinite(days):
        found = (
            f"They find an effect of {days:.1f} days with the chance asked for: take --smallest "
            f"{days:.1f}, "
        )
    return (
        f"Nothing is registered: even {LARGEST} sessions per arm "
        f"({float(answer['planned_weeks']):.0f} weeks) show an effect of "
        f"{answer.attrs['smallest']:g} days with a chance of "
        f"{100 * float(answer['expected_chance'].sel(bound='median')):.0f} % only. {found}"
        "accept a lower --chance, or set the number yourself with --sessions."
    )


def _check(now: Standing, wanted: Wanted, trials: Sequence[Trial]) -> np.datetime64:
    for trial in trials:
        if trial.open:
            raise QuestionError(
                f"The trial of {trial.plan.measure!r} is still open. One measure at a time: finish "
                "it, or give it up with: slackwater trial stop SEASON_FOLDER --because WORDS"
            )
    if not wanted.measure.strip() or not wanted.measure.isprintable():
        raise QuestionError("Name the measure as you will log it in interventions.csv.")
    if not 0 < wanted.smallest < np.inf:
        raise QuestionError("--smallest is in days saved, above 0, such as 0.5.")
    if not 0 < wanted.chance < 1:
        raise QuestionError("--chance is a share between 0 and 1, such as 0.8.")
    if wanted.sessions is not None and wanted.sessions < 2:
        raise QuestionError("--sessions is the number of sessions per arm, 2 or more.")
    start = now.season.last_night + DAY if wanted.start is None else wanted.start
    if start <= now.season.last_night:
        raise QuestionError(
            f"A trial is drawn by lot before its days: --start must be after the last reading, "
            f"{now.season.last_night}."
        )
    if n.TYPE_LOG_DIP not in now.draws:
        raise NoAnswerError("No session is logged, so there is no recovery to speed up.")
    return start


def _shares(now: Standing, habits: Habits) -> dict[str, float]:
    """Return the trial's types, longest recovery first, and their shares."""
    left = np.median(worth.days_to_shorten(now), axis=0)
    known = [str(t) for t in now.draws[n.TYPE].values]
    order = [known[i] for i in np.argsort(-left) if left[i] >= LEAST_TO_SHORTEN]
    shares = shares_of(habits, order)
    if not shares:
        raise NoAnswerError(
            "No type trained in the last weeks leaves a typical session at least half a day of "
            "recovery after its first reading, so there is nothing for a measure to work on."
        )
    return shares


def _refuse_too_large(wanted: Wanted, to_shorten: np.ndarray, effects: np.ndarray) -> None:
    if np.isfinite(effects).mean() < 0.5:
        raise NoAnswerError(
            f"A typical session leaves {np.median(to_shorten):.1f} days of recovery after its "
            f"first reading; no measure is likely to save {wanted.smallest:g} of them. Give a "
            "smaller --smallest."
        )


def _tasks(
    now: Standing,
    wanted: Wanted,
    lots: Assigned,
    habits: Habits,
    effects: dict[int, float],
) -> list[Rehearsal]:
    """Return the trials to simulate, one for each of these draws and its log rate ratio."""
    past = past_of(now.season, wanted.measure)
    sizes = (wanted.sessions,) if wanted.sessions else SIZES
    earlier = np.zeros(now.draws.sizes["sample"])
    if n.INTERVENTION in now.draws.coords and wanted.measure in now.draws[n.INTERVENTION].values:
        earlier = now.draws[n.LOG_RATE_RATIO].sel({n.INTERVENTION: wanted.measure}).values
    tasks = []
    for k, (at, effect) in enumerate(effects.items()):
        ratios = {
            wanted.measure: float(np.exp(effect)),
            outside(wanted.measure): float(np.exp(earlier[at])),
        }
        truth = truth_of(now.draws.isel(sample=at), float(now.level_mean[at]), ratios)
        seed = wanted.seed + 1 + k
        trial = lots._replace(seed=seed)
        tasks.append(
            Rehearsal(past, habits, truth, wanted.measure, trial, sizes[k % len(sizes)], seed)
        )
    return tasks


def _sizes(
    results: list[Rehearsed], true: np.ndarray, information: np.ndarray, level: float
) -> xr.Dataset:
    """Return what was simulated at each size, and what the smooth curve says there."""
    sizes = sorted({r.sessions_per_arm for r in results})
    of = [[r for r in results if r.sessions_per_arm == size] for size in sizes]
    faster = [sum(r.verdict == "faster" for r in each) for each in of]
    ranges = [
        worth.share_range(count, len(each), level) for count, each in zip(faster, of, strict=True)
    ]
    shares = [
        [low, count / len(each), high]
        for (low, high), count, each in zip(ranges, faster, of, strict=True)
    ]
    return xr.Dataset(
        {
            "simulated": ("size", [len(each) for each in of]),
            "faster": ("size", faster),
            "faster_share": (("size", BOUND), shares),
            "chance": ("size", [worth.chance_of_faster(true, information, s) for s in sizes]),
            "weeks": ("size", [_pace(each) * s for each, s in zip(of, sizes, strict=True)]),
        },
        coords={"size": sizes, BOUND: list(BOUNDS)},
    )


def _pace(results: list[Rehearsed]) -> float:
    """Return how many weeks one session per arm takes."""
    return float(np.mean([r.days / r.sessions_per_arm for r in results])) / 7


def _chance_range(
    true: np.ndarray, information: np.ndarray, sessions: int, level: float
) -> xr.DataArray:
    """Return the curve's chance with its Monte Carlo range (bootstrap over the trials)."""
    rng = np.random.default_rng(sessions)
    again = rng.integers(len(true), size=(BOOTSTRAPS, len(true)))
    chances = [worth.chance_of_faster(true[i], information[i], sessions) for i in again]
    found = interval(np.array(chances), level)
    found.loc[{BOUND: "median"}] = worth.chance_of_faster(true, information, sessions)
    return found


def _smallest_found(
    to_shorten: np.ndarray, information: np.ndarray, sessions: int, chance: float
) -> float:
    """Return the days saved, in tenths, that are found with that chance; NaN where none are."""
    for tenths in range(1, int(10 * np.median(to_shorten))):
        effects = worth.log_ratio_for(to_shorten, tenths / 10)
        possible = np.isfinite(effects)
        effects, known = effects[possible], information[possible]
        if worth.chance_of_faster(effects, known, sessions) >= chance:
            return tenths / 10
    return float("nan")


def _planned(
    wanted: Wanted, start: np.datetime64, shares: dict[str, float], data: xr.Dataset
) -> dict[str, Any]:
    sessions = int(data["sessions_per_arm"])
    return {
        "measure": wanted.measure,
        "start": start.astype(object),
        "sessions_per_arm": sessions,
        "smallest_days": wanted.smallest,
        "wanted_chance": wanted.chance,
        "expected_chance": round(float(data["expected_chance"].sel({BOUND: "median"})), 3),
        "types": {label: round(share, 3) for label, share in shares.items()},
        "seed": wanted.seed,
        "assignment": ASSIGNMENT,
        "pairs": orders(wanted.seed, list(shares), sessions),
        "verdict_rule": VERDICT_RULE,
    }


def _warnings(
    now: Standing, wanted: Wanted, effects: np.ndarray, types: dict[str, float], data: xr.Dataset
) -> list[str]:
    said = [why for label, why in confounded_types(now).items() if label in types]
    impossible = float(np.isnan(effects).mean())
    if impossible > 0.05:
        said.append(
            f"In {100 * impossible:.0f} % of what is possible after your readings, no measure "
            f"could save {wanted.smallest:g} days; the chances are about the rest."
        )
    earlier = len(logged_days(now.season, wanted.measure))
    if earlier:
        said.append(
            f"{wanted.measure!r} was used on {earlier} days already. They are why you try it, and "
            "are no evidence for it a second time: the trial will be judged by its own days alone."
        )
    largest = int(data["size"].max())
    if int(data["sessions_per_arm"]) > largest:
        said.append(
            f"Trials of up to {largest} sessions per arm were simulated; beyond, the chance is "
            "carried on by the curve."
        )
    expected = float((data["simulated"] * data["chance"]).sum())
    spread = float((data["simulated"] * data["chance"] * (1 - data["chance"])).sum()) ** 0.5
    seen = int(data["faster"].sum())
    if abs(seen - expected) > 2.6 * spread + 0.5:  # beyond what 99 in 100 plans show
        said.append(
            f"The curve expects {expected:.0f} verdicts of 'faster' where {seen} were seen, so "
            "take its chances as rough, and the counts as what there is."
        )
    return list(dict.fromkeys(said))
