"""What a report of a single-athlete trial should say, filled in from the record.

The items follow CENT 2015, the extension of CONSORT to trials with one participant (Vohra
et al. 2015, BMJ 350:h1738), from memory; check against the source before publishing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.records.lots import LONGEST_STRETCH
from slackwater.fitting.records.trials import Trial, latest_trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.trials.followed import follow
from slackwater.fitting.trials.stretches import FIRST_MORNING, LAST_MORNING
from slackwater.model.errors import Reason
from slackwater.model.season import DAY, Season

_YOURS: Final = Reason("yours to write")


@dataclass(frozen=True)
class Item:
    """One item of a report.

    Attributes:
        item: its number.
        what: what it asks for.
        record: what the record knows of it.
    """

    item: str
    what: Reason
    record: Reason


@dataclass(frozen=True)
class TrialItems(Answer):
    """What a report of a trial should say.

    Attributes:
        measure: the measure under trial.
        source: where the items are from.
        items: the items, in order.
    """

    measure: str
    source: Reason
    items: tuple[Item, ...]


def report_items(athlete: Athlete, level: float = DEFAULT_LEVEL) -> TrialItems:
    """Answer what a report of a trial should say, and what of it the record knows.

    Args:
        athlete: the season and its trials.
        level: as for every answer; no interval is shown.

    Raises:
        NoAnswerError: no trial was ever planned.
    """
    season, trial = athlete.season, latest_trial(athlete.trials)
    known = _of_plan(trial) | _of_course(season, trial)
    return TrialItems(
        about_season(season, level),
        measure=trial.plan.measure,
        source=Reason("source of the items"),
        items=tuple(
            Item(item, Reason("asked by an item", item=item), known.get(item, _YOURS))
            for item in _ITEMS
        ),
    )


_ITEMS: Final = (
    *("1", "2", "3a", "3b", "4", "5", "6", "7a", "7b", "8a", "8b", "8c", "9", "10", "11", "12"),
    *("13", "14", "15", "16", "17", "18", "19", "20", "21", "22", "23", "24", "25"),
)


def _of_plan(trial: Trial) -> dict[str, Reason]:
    """Return what is known before the first day."""
    plan = trial.plan
    return {
        "3a": Reason("stretches in pairs", longest_days=LONGEST_STRETCH),
        "3b": Reason("no changes in the record"),
        "5": Reason("the measure given", measure=plan.measure),
        "6": Reason("outcomes", first_morning=FIRST_MORNING, last_morning=LAST_MORNING),
        "7a": Reason(
            "the size planned",
            sessions_per_arm=plan.sessions_per_arm,
            chance=plan.expected_chance,
            smallest_days=plan.smallest_days,
        ),
        "8a": Reason("lots by a seed", seed=plan.seed),
        "8b": Reason("pairs within types", types=list(plan.types), shares=[*plan.types.values()]),
        "8c": Reason("lots in the record", trial=plan.trial),
        "9": Reason("told after logging"),
        "10": Reason("drawn by the program"),
        "11": Reason("not blinded"),
        "12": Reason("judged by a rule", rule=plan.verdict_rule),
        "15": Reason("state at the start", start=str(plan.start)),
        "21": Reason("this athlete alone"),
        "23": Reason("registered", written=f"{plan.written:%Y-%m-%d %H:%M}"),
        "24": Reason("protocol in the record"),
    }


def _of_course(season: Season, trial: Trial) -> dict[str, Reason]:
    """Return what is known of how it went, of the stretches that take part."""
    followed, end = follow(season, trial.plan), _end(trial)
    judged = followed.stretches
    last = judged[-1].last + DAY if judged else season.last_night
    told = {f"sessions_{arm}": count for arm, count in followed.reached.items()}
    flow = Reason("flow of stretches", begun=sum(not s.recovered for s in judged), **told)
    dangers = followed.dangers()
    return {
        "7b": Reason("looks and end", looks=len(trial.looks), **end),
        "13": flow,
        "14": Reason("dates and end", start=str(trial.plan.start), **end),
        "16": flow,
        "17": _result(trial),
        "18": Reason(
            "days not as assigned",
            missed=len(followed.missed(last)),
            strayed=len(followed.strayed(last)),
        ),
        "20": Reason("limits", dangers=dangers) if dangers else _YOURS,
    }


def _end(trial: Trial) -> dict[str, Any]:
    """Return how the trial ended, as facts: `ended`, and what goes with it."""
    if trial.stopped is not None:
        return {"ended": "stopped", "because": trial.stopped.because}
    if trial.analysed is not None:
        return {"ended": "judged", "last_night": str(trial.analysed.last_night)}
    return {"ended": "open"}


def _result(trial: Trial) -> Reason:
    found = trial.analysed
    if found is None:
        return Reason("not judged yet")
    return Reason(
        "the result",
        verdict=found.verdict,
        mean=found.log_rate_ratio_mean,
        sd=found.log_rate_ratio_sd,
        p_value=found.p_value,
    )
