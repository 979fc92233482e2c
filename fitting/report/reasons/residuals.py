"""Sentences about where the model does not describe a season, and what that means for answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.model.names import WEEKDAYS

_LOG: Final = "in stressors.csv"


def off(percent: float) -> str:
    """Return how far readings lie off: "8 % low"."""
    return f"{abs(percent):.0f} % {'low' if percent < 0 else 'high'}"


def morning(number: int) -> str:
    """Return a morning after a session by its number: "2nd morning"."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number, "th")
    return f"{number}{ending} morning"


def mornings(first: int, last: int | None) -> str:
    """Return mornings after a session: "2nd morning", "3rd to 5th morning"."""
    if last is None:
        return f"{morning(first)} and later"
    return morning(last) if first == last else f"{morning(first).split()[0]} to {morning(last)}"


def _linger(correlation: float) -> str:
    return (
        "A night is more like the night before than the model allows (autocorrelation "
        f"{words.signed(correlation, 2)}): what lifts or lowers a reading lasts for some nights, "
        "and is not in the log. The model takes a part of that for slow recovery, so days to "
        "recover are rather too many and their ranges too narrow. Log what lasts, such as illness, "
        f"travel or short sleep, {_LOG}."
    )


def _alternate(correlation: float) -> str:
    return (
        "High nights follow low ones, and low ones high ones, more than the model allows "
        f"(autocorrelation {words.signed(correlation, 2)}). Check that each reading has the date "
        "of its own morning; until then take days to recover with care."
    )


def _weekday(weekday: str, percent: float) -> str:
    if weekday in WEEKDAYS:
        whose, before = f"{weekday} mornings", f"{WEEKDAYS[WEEKDAYS.index(weekday) - 1]}s"
    else:
        whose, before = "weekend mornings", "Fridays and Saturdays"
    if percent < 0:
        do = f"log what your {before} hold {_LOG}"
    else:
        do = f"log what weighs on you on other days than {before} {_LOG}"
    return (
        f"Your {whose} lie {off(percent)} whatever you did: {do}. As it is, sessions on fixed "
        "weekdays are blamed for it, and their days to recover are off."
    )


def _after(first: int, last: int | None, type: str | None, percent: float) -> str:
    session = "a session" if type is None else f"{type!r}"
    whose = "days to recover" if type is None else f"days to recover from {type!r}"
    if first == 1:
        means = f"the first night shows it otherwise than the model has it; take {whose} with care"
    elif percent < 0:
        means = f"recovery takes longer than the model has it, and {whose} are rather too few"
    else:
        means = f"recovery is over sooner than the model has it, and {whose} are rather too many"
    return f"On the {mornings(first, last)} after {session} readings lie {off(percent)}: {means}."


def _scatter(ratio: float) -> str:
    more = ratio > 1
    return (
        f"Readings of the later half scatter {ratio:.1f} times as much as those of the earlier. "
        "Threshold and ranges are those of the whole season, so today's ranges are rather too "
        f"{'narrow' if more else 'wide'} and today's threshold too {'low' if more else 'high'}, "
        "unless season.toml fixes it. "
        "Did the sensor, its place or the hour of measuring change?"
    )


def _far_nights(low: int, high: int, lower: bool) -> str:
    counted = f"{low} far below what was foretold, {high} far above"
    if lower:
        return (
            f"Nights far off lie low rather than high ({counted}): something that is not logged "
            "pulls single nights down, and training is blamed for a part of it. Log illness, "
            f"travel, alcohol and bad nights {_LOG}."
        )
    return (
        f"Nights far off lie high rather than low ({counted}). Look for readings that went wrong, "
        "and take those out."
    )


def _dose(times: float) -> str:
    much = "much" if times < 2 else "little"
    effect = "many" if times < 2 else "few"
    return (
        f"A session of twice the dose dips {times:.1f} times as deep, where the model has it dip 2 "
        f"times: larger doses are taken for too {much}, so days to recover from them are rather "
        f"too {effect}, and the other way round for smaller ones. Enter doses by how hard they "
        "felt."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "nights linger": _linger,
    "nights alternate": _alternate,
    "weekday lies off": _weekday,
    "after a session off": _after,
    "scatter changed": _scatter,
    "far nights uneven": _far_nights,
    "one night far off": "The reading of {date} lies further off than any should. If it was "
    "measured wrongly, take it out; if you know what happened, log it in stressors.csv.",
    "nights low in a row": "From {date} on, some nights in a row lie lower than anything logged "
    "explains, and the model takes that for slow recovery or a lower baseline. If it was illness, "
    "travel or training that is not logged, log it.",
    "dose counts otherwise": _dose,
    "residual ahead": "a residual is a reading against what the model foretold for it, from the "
    "log and from the readings before",
}
