"""Sentences about entries that may not be right: what is doubted, and how to mend it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Final, NamedTuple

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural
from slackwater.model.errors import Reason

_SLIPS: Final = {
    "decimal point": "the decimal point is misplaced",
    "swapped digits": "two digits are swapped",
    "seconds": "it is in seconds",
    "microseconds": "it is in microseconds",
    "percent": "it is in percent",
    "logarithm": "it is ln RMSSD",
    "logarithm to base 10": "it is a logarithm to base 10",
}
_BASES: Final = {
    "forecast": "by the forecast",
    "own readings": "by the readings around it",
    "general experience": "by general experience, as nothing is logged yet",
}
_ASSUMED: Final = {
    "left out": "Until it is mended or confirmed, answers leave it out.",
    "usual dose": "Until it is mended or confirmed, answers take the type's usual dose.",
    "as it stands": "Answers take it as it stands.",
}
_PEOPLE: Final = {"type": "session type", "intervention": "recovery measure"}


class Told(NamedTuple):
    """What is said of an entry.

    Attributes:
        what: what is doubted, without a full stop.
        mend: how to mend it, likewise.
    """

    what: str
    mend: str


def told_of(reason: Reason) -> Told:
    """Return what is doubted of an entry, and the mend."""
    said = _TOLD[reason.code]
    return said(**{name: reason.facts[name] for name in said.__annotations__ if name != "return"})


def confirmed(reason: Reason) -> str:
    """Return what was doubted of a file's row, with its place, once it was said to be right."""
    return f"{reason.facts['file']}:{reason.facts['line']}: {told_of(reason).what}."


def _unlikely_reading(
    column: str, date: str, ms: float, expected_ms: float, low_ms: float, high_ms: float,
    chance: float, basis: str, slip: str, meant_ms: float | None,
) -> Told:  # fmt: skip
    what = (
        f"{_ms(ms)} on {date}, where {expected_ms:.0f} ms ({low_ms:.0f} to {high_ms:.0f}) was to "
        f"be expected {_BASES[basis]}: a chance of {_chance(chance)}"
    )
    mend = f"if {_SLIPS[slip]}, write {_entry(column, slip, meant_ms)}" if meant_ms else ""
    return Told(what, mend or "see whether it is a slip")


def _unlikely_dose(
    column: str, date: str, type: str, dose: float, usual: float, low: float, high: float,
    chance: float, slip: str, meant: float | None, minutes: bool,
) -> Told:  # fmt: skip
    what = (
        f"a dose of {dose:g} on {date}, where {type!r} has {usual:.2g} ({low:.2g} to {high:.2g}): "
        f"a chance of {_chance(chance)}"
    )
    rule = "dose is relative, 1 = that type's usual session"
    mends = [f"if {_SLIPS[slip]}, write {meant:.6g}"] if meant else []
    mends += ["if it is minutes, divide it by the type's usual minutes"] if minutes else []
    return Told(what, "; ".join([*mends, rule]))


def _nearly_a_known_name(column: str, label: str, known: str, rows: int) -> Told:
    kind = _PEOPLE.get(column, column)
    count = f" ({plural(rows, 'row')})" if rows else ""
    what = f"{label!r} is nearly the {kind} {known!r}{count}, yet counts as another"
    return Told(what, f"write {known!r} if that was meant")


def _decimal_comma(column: str, label: str, meant: str) -> Told:
    what = f"a sensor called {label!r} looks like the decimals of {meant} ms, cut off by a comma"
    return Told(what, f"write {meant} with a point, or put the number in double quotes")


def _a_number_for_a_name(column: str, label: str) -> Told:
    what = f"{label!r} is a number where the {_PEOPLE.get(column, column)} has its name"
    return Told(what, "see whether the row's cells stand one column off")


def _known_as_another_thing(column: str, label: str, known_as: str) -> Told:
    kind, other = (_PEOPLE.get(name, name) for name in (column, known_as))
    what = f"{label!r} is new as a {kind}, and known as a {other}"
    return Told(what, f"log it as a {other} if that was meant")


def _in_the_future(column: str, date: str, today: str, meant: str) -> Told:
    return Told(f"{date} has not come yet (today is {today})", f"write {meant} if that was meant")


def _a_slip_of_the_date(column: str, date: str, meant: str) -> Told:
    what = f"{date} lies away from the days around it as {meant} would not"
    return Told(what, f"write {meant} if that was meant")


def _far_from_the_others(column: str, date: str, first: str, last: str) -> Told:
    return Told(
        f"{date} lies far from what is logged ({first} to {last})", "see whether it is right"
    )


def _a_nights_second_reading(column: str, date: str, ms: float, there_ms: float) -> Told:
    what = f"the night of {date} has a reading already, {_ms(there_ms)}"
    return Told(what, f"keep one: {_ms(there_ms)} or {_ms(ms)}")


def _the_same_session_twice(column: str, date: str, type: str, dose: float) -> Told:
    what = f"{type!r} with dose {dose:g} is logged twice on {date}"
    return Told(what, "keep one, if it was one session")


def _ms(ms: float) -> str:
    return f"{ms:.3g} ms" if ms < 100 else f"{ms:.0f} ms"


def _entry(column: str, slip: str, ms: float) -> str:
    """Return what was meant as the column would have it; typed digits as they were typed."""
    if column == "ln_rmssd":
        return f"{math.log(ms):.2f}"
    return f"{ms:g} ms" if slip == "swapped digits" else f"{ms:.1f} ms"


def _chance(share: float) -> str:
    return "under 1 in a million" if share < 1e-6 else f"1 in {float(f'{1 / share:.1g}'):,.0f}"


_TOLD: Final[Mapping[str, Callable[..., Told]]] = {
    "unlikely reading": _unlikely_reading,
    "unlikely dose": _unlikely_dose,
    "nearly a known name": _nearly_a_known_name,
    "decimal comma": _decimal_comma,
    "a number for a name": _a_number_for_a_name,
    "known as another thing": _known_as_another_thing,
    "in the future": _in_the_future,
    "a slip of the date": _a_slip_of_the_date,
    "far from the others": _far_from_the_others,
    "a night's second reading": _a_nights_second_reading,
    "the same session twice": _the_same_session_twice,
}


def _whole(said: Callable[..., Told]) -> Sentence:
    """Return a sentence of its own; of a row of a file, with its place and what is assumed."""

    @wraps(said)
    def sentence(
        file: str = "", line: int = 0, column_number: int = 0, assumed: str = "", **facts: object
    ) -> str:
        what, mend = said(**facts)
        place = f"{file}:{line}:{column_number}: " if file else ""
        text = f"{place}{what}; {mend}."
        return f"{text} {_ASSUMED[assumed]}" if assumed else text

    return sentence


SENTENCES: Final[Mapping[str, Sentence]] = {code: _whole(said) for code, said in _TOLD.items()}
