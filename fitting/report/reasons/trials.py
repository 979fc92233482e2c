"""Sentences about trials of a recovery measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural, quoted, times


def _more_than_there_is_to_save(days: float, left_days: float) -> str:
    return (
        f"A typical session leaves {left_days:.1f} days of recovery after its first reading; no "
        f"measure is likely to save {days:g} of them. Ask for a smaller effect."
    )


def _trial_takes_years(measure: str, sessions: int, pace_days: int) -> str:
    return (
        f"At the pace of the last {pace_days} days, {sessions} sessions with and as many without "
        f"{measure!r} would take more than three years. A session counts when the next one of the "
        "trial's types is at least two days later, and one of the readings until then is there: "
        "train with gaps, or plan fewer sessions."
    )


def _nothing_registered(sessions_per_arm: int, weeks: float, days: float, chance: float) -> str:
    return (
        f"Nothing is registered: even {sessions_per_arm} sessions per arm ({weeks:.0f} weeks) show "
        f"an effect of {days:g} days with a chance of {100 * chance:.0f} % only."
    )


_OR: Final = "accept a lower chance, or set the number of sessions yourself."


def _too_small_to_find(
    measure: str,
    sessions_per_arm: int,
    weeks: float,
    days: float,
    chance: float,
    found_days: float,
    found_sessions: int,
) -> str:
    return (
        f"{_nothing_registered(sessions_per_arm, weeks, days, chance)} About {found_sessions} find "
        f"an effect of {found_days:.1f} days with the chance asked for: plan for that, {_OR}"
    )


def _nothing_can_be_found(
    measure: str, sessions_per_arm: int, weeks: float, days: float, chance: float
) -> str:
    return (
        f"{_nothing_registered(sessions_per_arm, weeks, days, chance)} No effect that is possible "
        f"can be counted on to be found with the chance asked for; {_OR}"
    )


def _maybe_more_than_there_is_to_save(share: float, days: float) -> str:
    return (
        f"In {100 * share:.0f} % of what is possible after your readings, no measure could save "
        f"{days:g} days; the chances are about the rest."
    )


def _used_before_its_trial(measure: str, days: int) -> str:
    return (
        f"{measure!r} was used on {plural(days, 'day')} already. They are why you try it, and are "
        "no evidence for it a second time: the trial will be judged by its own days alone."
    )


def _told_together_with_others(trials: int) -> str:
    return (
        f"{plural(trials, 'trial')} of this season "
        f"{'was' if trials == 1 else 'were'} judged already, so the verdict that will be told is "
        "that of all together, which asks for more than the rule by itself: take the chances as "
        "somewhat too high."
    )


def _another_new_measure(measure: str, since: str, tried: str) -> str:
    return (
        f"{measure!r} is new since the trial began ({since}). One measure at a time: leave it out "
        f"until the trial is over, or its effect mixes with that of {tried!r}."
    )


def _stressor_in_a_stretch(first: str, type: str, stressors: list[str]) -> str:
    return (
        f"The stretch of {first} ({type}) had a stressor ({quoted(stressors)}): it is marked, and "
        "does not count towards the planned number."
    )


def _unbalanced_arms(sessions_with: int, sessions_without: int, less: str) -> str:
    return (
        f"The arms are unbalanced: {sessions_with} sessions with and {sessions_without} without. "
        f"Sessions {less} drop out more often (a missing reading, a session the next day, a "
        "stressor); if that is because of the measure, the comparison is biased."
    )


def _so_far(measure: str, sessions_with: int, sessions_without: int, planned: int) -> str:
    return (
        f"{sessions_with} sessions with and {sessions_without} without {measure!r} tell of "
        f"recovery so far; the plan is {planned} of each."
    )


def _trial_not_due(measure: str, sessions_with: int, sessions_without: int, planned: int) -> str:
    return (
        f"{_so_far(measure, sessions_with, sessions_without, planned)} Results before that are not "
        "shown: who stops at a lucky moment finds what is not there. A look is possible all the "
        "same, and is kept in the record."
    )


def _too_little_for_a_look(
    measure: str, sessions_with: int, sessions_without: int, planned: int
) -> str:
    so_far = _so_far(measure, sessions_with, sessions_without, planned)
    return f"{so_far} That is too little for a look."


def _trial_stopped(measure: str, because: str) -> str:
    return (
        f"The trial of {measure!r} was stopped ({because}), so its rule gives no verdict. What its "
        "days tell without one, a comparison with and without it shows."
    )


def _faster_by_itself_only(measure: str) -> str:
    return (
        f"The trial of {measure!r} by itself ended 'faster', but not among all that was tried: "
        "take it as a hint, and try it again."
    )


def _gaps_differ_by_arm(p_value: float) -> str:
    return (
        "The next session came sooner or later after sessions with the measure than after those "
        f"without (p = {p_value:.3f} by the lots). The test without a model presumes that it does "
        "not, so read it with that in mind."
    )


def _looked_at_before_its_end(measure: str, looks: int) -> str:
    return f"Interim results of {measure!r} were looked at {times(looks)} before its end."


def _not_in_the_fit_yet(measures: list[str]) -> str:
    return f"Not in the fit yet: {quoted(measures)}. A new fit learns what the log tells."


def _another_threshold(planned: float | None, percent: float | None) -> str:
    return (
        f"The trial was planned where days to recover end under {words.threshold(planned)}; now "
        f"they end under {words.threshold(percent)}, so that the days it promised to find are not "
        "those that it will tell. What the lots say and its verdict do not rest on that."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "no open trial": "No trial is planned or running; plan one first.",
    "no trial yet": "No trial was planned in this season; plan one first.",
    # Planning one.
    "no recovery to speed up": "No session is logged, so there is no recovery to speed up.",
    "too little training": "Training is logged for {days} days; a trial is planned from at least "
    "{needed} days of it, so that its length can be told. Go on logging.",
    "nothing left to shorten": "No type trained in the last weeks leaves a typical session at "
    "least {least_days:g} days of recovery after its first reading, so there is nothing for a "
    "measure to work on.",
    "more than there is to save": _more_than_there_is_to_save,
    "trial takes years": _trial_takes_years,
    "too small to find": _too_small_to_find,
    "nothing can be found": _nothing_can_be_found,
    "smallest that can be found": "about the smallest that {sessions_per_arm} sessions per arm can "
    "find",
    "maybe more than there is to save": _maybe_more_than_there_is_to_save,
    "used before its trial": _used_before_its_trial,
    "told together with others": _told_together_with_others,
    "larger than simulated": "Trials of up to {sessions_per_arm} sessions per arm were simulated; "
    "beyond, the chance is carried on by the curve.",
    "counts differ from the curve": "The curve expects {expected:.0f} verdicts of 'faster' where "
    "{seen} were seen, so take its chances as rough, and the counts as what there is.",
    # Following it.
    "another new measure": _another_new_measure,
    "stressor in a stretch": _stressor_in_a_stretch,
    "unbalanced arms": _unbalanced_arms,
    # Judging it.
    "trial stopped": _trial_stopped,
    "trial not due": _trial_not_due,
    "too little for a look": _too_little_for_a_look,
    "log differs from the lots": "The log differs from what was assigned: not logged on {missed} "
    "of the days with, logged on {strayed} other days of the trial. The verdict goes by what was "
    "assigned, which makes an effect look smaller.",
    "too few pairs": "{pairs} complete pairs are too few for the randomisation test, which needs "
    "{needed}.",
    "gaps differ by arm": _gaps_differ_by_arm,
    "trial under another threshold": _another_threshold,
    "another verdict rule": "The rule fixed in the plan is not the one that this version judges "
    "by: {rule}.",
    "a look before the end": "This is a look before the planned number is reached, and is kept in "
    "the record. The trial goes on to its planned end, whatever it shows.",
    "another result in the record": "The result in the record ({verdict}, {written}) came from "
    "other data: the season was edited since. The record keeps the first.",
    # The ledger.
    "nothing ever tested": "No measure was ever tested: none is logged in interventions.csv, and "
    "no trial is planned.",
    "alone and together": "alone: each measure by itself; together: all measures at once, as "
    "differing around a common centre, so that the best of many is pulled back by as much as luck "
    "explains",
    "log told up to the fit": "What the log tells is told up to {last_night}, as the fit does not "
    "take in what came since.",
    "faster by itself only": _faster_by_itself_only,
    "looked at before its end": _looked_at_before_its_end,
    "not in the fit yet": _not_in_the_fit_yet,
    "used without a trial": "Measures without a trial were used when the athlete chose, so what "
    "else differed on those days counts for them too; they get no verdict.",
}
