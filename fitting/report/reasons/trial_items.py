"""Sentences for the report of a trial: what each item asks for, and what the record knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence, say
from slackwater.fitting.report.reasons.trials import SENTENCES as TRIALS
from slackwater.model.errors import Reason

_YOURS: Final = "yours to write"
_ASKED: Final[Mapping[str, str]] = {
    "1": "title and summary name it a trial with one participant",
    "2": "why, and what is asked",
    "3a": "design: periods, their length and order, washout",
    "3b": "changes after the start",
    "4": "the participant and the setting",
    "5": "the measure, in detail for both arms",
    "6": "outcomes, how and when measured",
    "7a": "size and its reason",
    "7b": "interim looks and stopping",
    "8a": "how the sequence was drawn",
    "8b": "restrictions",
    "8c": "the whole intended sequence",
    "9": "concealment",
    "10": "who drew, who assigned",
    "11": "blinding",
    "12": "analysis, and how carry-over and order are dealt with",
    "13": "flow: periods begun, completed, judged",
    "14": "dates, and why it ended",
    "15": "state at the start",
    "16": "what was analysed, as assigned or as used",
    "17": "result with its uncertainty, raw data",
    "18": "adherence and further analyses",
    "19": "harms",
    "20": "limits",
    "21": "for whom it holds",
    "22": "interpretation",
    "23": "registration",
    "24": "protocol",
    "25": "funding, interests",
}


def _asked(item: str) -> str:
    return _ASKED[item]


def _size(sessions_per_arm: int, chance: float, smallest_days: float) -> str:
    return (
        f"{sessions_per_arm} sessions per arm: a chance of {100 * chance:.0f} % of the verdict "
        "'faster' at the smallest effect worth having (days saved for a typical session: "
        f"{smallest_days:g})"
    )


def _pairs_within_types(types: Sequence[str], shares: Sequence[float]) -> str:
    told = (f"{label} ({100 * s:.0f} %)" for label, s in zip(types, shares, strict=True))
    return f"pairs within type; types: {', '.join(told)}"


def _end(ended: str, because: str = "", last_night: str = "") -> str:
    if ended == "stopped":
        return f"stopped: {because}"
    if ended == "judged":
        return f"at its planned size, judged with readings up to {last_night}"
    return "still open"


def _looks_and_end(looks: int, **end: str) -> str:
    return f"{looks} looks; {_end(**end)}"


def _dates_and_end(start: str, **end: str) -> str:
    return f"from {start}; {_end(**end)}"


def _result(verdict: str, mean: float, sd: float, p_value: float | None) -> str:
    test = "" if p_value is None else f", randomisation test p = {p_value:.3f}"
    return f"{verdict}; log rate ratio {mean:.2f} (SD {sd:.2f}){test}"


def _limits(dangers: Sequence[Reason]) -> str:
    return "; ".join(say(TRIALS[danger.code], danger.facts) for danger in dangers)


SENTENCES: Final[Mapping[str, Sentence]] = {
    "source of the items": "after CENT 2015 (Vohra et al., BMJ 2015;350:h1738), from memory and in "
    "our words",
    "asked by an item": _asked,
    "yours to write": _YOURS,
    "stretches in pairs": "recovery stretches of up to {longest_days} days, in pairs within "
    "session type; no washout between stretches, since the measure is taken to act while it is "
    "used",
    "no changes in the record": "none is possible in the record; name others",
    "the measure given": f"{{measure}}; dose and timing: {_YOURS}",
    "outcomes": "nightly ln RMSSD; recovery rate by the model; mean of the {first_morning}nd to "
    "{last_morning}th morning after a session without it",
    "the size planned": _size,
    "looks and end": _looks_and_end,
    "lots by a seed": "SHA-256 of seed {seed}, type and pair",
    "pairs within types": _pairs_within_types,
    "lots in the record": "in the record, trial {trial}, pairs",
    "told after logging": "an arm is told after its session is logged",
    "drawn by the program": "the program",
    "not blinded": "none: the athlete knows",
    "judged by a rule": "{rule}",
    "flow of stretches": "{begun} stretches begun; {sessions_with} with and {sessions_without} "
    "without tell of recovery",
    "dates and end": _dates_and_end,
    "state at the start": f"recovery and baseline before {{start}}: {_YOURS}",
    "not judged yet": "not analysed yet",
    "the result": _result,
    "days not as assigned": "not used on {missed} days assigned, used on {strayed} others",
    "limits": _limits,
    "this athlete alone": "for this athlete, in this season",
    "registered": "trials.json, written {written} UTC",
    "protocol in the record": "trials.json and the plan's printout",
}
