"""Sentences about the beats of a night: how a file was read, what was taken out, why no reading."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.doubts import told_of
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.report.words import capital
from slackwater.fitting.text import listed
from slackwater.model.errors import Reason

_DATES: Final = 3  # of nights; the others are counted
_SHOWN: Final = 10  # doubts; the others are counted


def _intervals_taken_out(percent: float, shortest: float, longest: float, least: float) -> str:
    return (
        f"an interval is taken out where it differs by more than {percent:g} % from the one before "
        "it (Malik, Farrell, Cripps and Camm 1989, Eur Heart J 10:1060-1074), lies outside "
        f"{shortest:.0f} to {longest:.0f} ms, or is labelled as no sinus beat; differences are "
        "taken between kept neighbours alone, and segments of five minutes with under "
        f"{least:g} % kept are left out"
    )


def _read_as_timed_intervals(unit: str, column: str, times: str) -> str:
    return f"intervals in {unit} from column {column!r}, their times from {times!r}"


def _read_as_annotations(form: str, label: str) -> str:
    return f"{form} annotations {label!r}" if label else f"{form} annotations"


def _two_files_of_one_night(date: str, others: list[str]) -> str:
    return f"belongs to the night of {date}, as does {listed(others)}; leave one of them out"


def _too_short(file: str, seconds: float, needed: float) -> str:
    return (
        f"{file}: {seconds:.0f} seconds of beats are kept; a reading takes at least {needed:.0f}. "
        "Record longer."
    )


def _longer_than_a_night(dates: list[str], hours: float) -> str:
    return (
        f"{_nights(dates)}: over {hours:.0f} hours of beats were read as one night; choose the "
        "hours asleep if there are more."
    )


def _rule_cuts_into_the_spread(dates: list[str], times: float) -> str:
    return (
        f"{_nights(dates)}: 20 % of an interval is less than {times:.0f} times RMSSD, so the "
        "rule takes out beats of the night itself, and reads too low."
    )


def _nights(dates: list[str]) -> str:
    """Return the first of many nights, and how many more there are."""
    more = len(dates) - _DATES
    return listed([*dates[:_DATES], f"{more} more"] if more > 0 else dates)


def _unlikely_nights(doubts: list[Reason]) -> str:
    said = [told_of(doubt) for doubt in doubts]
    shown = [f"{told.what}; {told.mend}." for told in said[:_SHOWN]]
    more = [f"And {len(said) - _SHOWN} more like these."] if len(said) > _SHOWN else []
    return " ".join(["Nothing was entered.", *map(capital, [*shown, *more])])


SENTENCES: Final[Mapping[str, Sentence]] = {
    "intervals taken out": _intervals_taken_out,
    "read as intervals": "intervals in {unit}",
    "read as timed intervals": _read_as_timed_intervals,
    "read as times of beats": "times of beats",
    "read as annotations": _read_as_annotations,
    "too few beats kept": "{file}: {percent:.0f} % of the beats can be kept; a reading takes at "
    "least {needed:.0f} %. The night was measured badly, or the file holds no RR intervals.",
    "too short a recording": _too_short,
    "intervals all alike": "{file}: the intervals hardly differ, so they are no beats that were "
    "measured one by one.",
    "longer than a night": _longer_than_a_night,
    "rule cuts into the spread": _rule_cuts_into_the_spread,
    "unlikely nights": _unlikely_nights,
    "two files of one night": _two_files_of_one_night,
}
