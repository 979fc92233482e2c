"""What is asked of a plan: sessions, days, fixed days, rest days, chances.

The clock of a plan: a session dated d acts on the night that ends on d + 1, so whether the
athlete is recovered before it is read on the morning of d itself, the last reading before it.
At most one session a day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypedDict, TypeVar, Unpack

import numpy as np

from slackwater.fitting.intake.dates import parse_date
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError, unknown_name
from slackwater.model.season import DAY

Date = dt.date | np.datetime64 | str
Number = TypeVar("Number", int, float)

DEFAULT_DAYS: Final = 7
DEFAULT_CHANCE: Final = 0.8
HIGHEST_CHANCE: Final = 0.99
MOST_SESSIONS: Final = 28
WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class Options(TypedDict, total=False):
    """What may be asked of a plan besides sessions and days.

    Attributes:
        start: its first day; that of the last reading if left out.
        fixed: the type of the session on each fixed day; counts among those wanted.
        rest: dates (YYYY-MM-DD) and English weekdays without a session.
        chance: the chance to be recovered asked for before each session; 0.8 if left out.
        chance_for: another chance for some types.
    """

    start: Date | None
    fixed: Mapping[Date, str]
    rest: Iterable[str]
    chance: float
    chance_for: Mapping[str, float]


@dataclass(frozen=True)
class Wish:
    """What is asked of a plan, checked against the season.

    Attributes:
        start: the plan's first day.
        days: how many days it has.
        wanted: how many sessions of each type, those on fixed days among them.
        fixed: the type of the session on each fixed day, by date.
        rest: dates (YYYY-MM-DD) and weekdays (Monday, …) without a session.
        chance: the chance to be recovered asked for before a session of each type.
    """

    start: np.datetime64
    days: int
    wanted: Mapping[str, int]
    fixed: Mapping[np.datetime64, str]
    rest: tuple[str, ...]
    chance: Mapping[str, float]

    @property
    def sessions(self) -> int:
        """How many sessions are wanted in all."""
        return sum(self.wanted.values())

    def free(self) -> dict[str, int]:
        """Return how many sessions of each type are to be given a day."""
        placed = list(self.fixed.values())
        return {label: count - placed.count(label) for label, count in self.wanted.items()}

    def date(self, day: int) -> np.datetime64:
        """Return the date of a day, counted from 0."""
        return self.start + DAY * day

    def rests(self, day: int) -> bool:
        """Say whether a day was asked to be one of rest."""
        date = self.date(day)
        return str(date) in self.rest or weekday(date) in self.rest


def make_wish(
    now: Standing, wanted: Mapping[str, int], days: int = DEFAULT_DAYS, **options: Unpack[Options]
) -> Wish:
    """Check what is asked for and return it.

    Args:
        now: the state, from `standing`.
        wanted: how many sessions of each type.
        days: how many days the plan has.
        **options: see `Options`.

    Raises:
        QuestionError: a type, date, count or chance that makes no sense; says which.
        NoAnswerError: the season has no session types.
    """
    types = [str(t) for t in now.draws[n.TYPE].values] if n.TYPE in now.draws.coords else []
    if not types:
        raise NoAnswerError(
            "No session is logged that a reading could show, so there is nothing to plan with. "
            "Log sessions in sessions.csv (date, type), then run slackwater fit."
        )
    first = _start(now, options.get("start"))
    _check_days(now, first, days)
    on = {_date(date): label for date, label in options.get("fixed", {}).items()}
    chance_for = options.get("chance_for", {})
    for label in [*wanted, *on.values(), *chance_for]:
        if label not in types:
            raise unknown_name("session type", label, types)
    counts = _counts(wanted, list(on.values()))
    for label in chance_for:
        if label not in counts:
            raise QuestionError(
                f"A chance is given for {label!r}, of which no session is wanted; "
                "want one, or leave the chance out."
            )
    chance = options.get("chance", DEFAULT_CHANCE)
    chances = {label: chance_for.get(label, chance) for label in counts}
    for value in chances.values():
        _check_chance(value)
    rest = tuple(dict.fromkeys(map(_rest, options.get("rest", ()))))
    wish = Wish(first, days, counts, on, rest, chances)
    _check_fixed(wish)
    return wish


def weekday(date: np.datetime64) -> str:
    """Return the English name of a date's weekday."""
    return WEEKDAYS[date.astype("datetime64[D]").item().weekday()]


def _date(given: Date) -> np.datetime64:
    if isinstance(given, str):
        return parse_date(given)
    return parse_date(str(given)[:10])  # both kinds begin with it, whatever time follows


def _start(now: Standing, start: Date | None) -> np.datetime64:
    first = now.night if start is None else _date(start)
    if first < now.night:
        raise QuestionError(
            f"A plan from {first} would begin before the last reading ({now.night}); "
            "begin it on that day or later."
        )
    return first


def _check_days(now: Standing, first: np.datetime64, days: int) -> None:
    if days < 1:
        raise QuestionError(f"A plan has 1 day or more, not {days}.")
    last = first + DAY * (days - 1)
    if (last - now.night) / DAY >= FARTHEST:
        raise QuestionError(
            f"The plan would reach to {last}, {FARTHEST} days or more after the last reading "
            f"({now.night}), farther than can be foreseen; ask for fewer days."
        )


def _counts(wanted: Mapping[str, int], fixed: list[str]) -> dict[str, int]:
    for label, count in wanted.items():
        if count < 1:
            raise QuestionError(f"{count} sessions of {label!r} are wanted; give 1 or more.")
        if fixed.count(label) > count:
            raise QuestionError(
                f"{fixed.count(label)} days are fixed for {label!r}, but only {count} of it "
                "wanted; a fixed session is one of those wanted."
            )
    added = [label for label in dict.fromkeys(fixed) if label not in wanted]
    counts = {**wanted, **{label: fixed.count(label) for label in added}}
    total = sum(counts.values())
    if not total:
        raise QuestionError("No session is wanted; say which, such as --want 'hill run:2'.")
    if total > MOST_SESSIONS:
        raise QuestionError(
            f"{total} sessions are wanted; at most {MOST_SESSIONS} are planned at once. "
            "Plan a shorter block."
        )
    return counts


def _check_chance(chance: float) -> None:
    if not 0.0 < chance <= HIGHEST_CHANCE:
        raise QuestionError(
            f"The chance {chance:g} is not above 0 and at most {HIGHEST_CHANCE:g}; 0.8 is the "
            "default, which is four mornings in five."
        )


def _rest(text: str) -> str:
    name = text.strip().casefold()
    for day in WEEKDAYS:
        if name in (day.casefold(), day[:3].casefold()):
            return day
    try:
        return str(parse_date(text))
    except QuestionError:
        raise QuestionError(
            f"{text!r} is neither a date (YYYY-MM-DD) nor a weekday (Monday to Sunday)."
        ) from None


def _check_fixed(wish: Wish) -> None:
    for date, label in wish.fixed.items():
        day = round((date - wish.start) / DAY)
        if not 0 <= day < wish.days:
            raise QuestionError(
                f"The day fixed for {label!r}, {date}, lies outside the plan "
                f"({wish.start} to {wish.date(wish.days - 1)}); mend it or change the days."
            )
        if wish.rests(day):
            raise QuestionError(
                f"{date} ({weekday(date)}) is fixed for {label!r} and asked to be a rest day; "
                "keep one of the two."
            )


def read_counts(texts: Iterable[str]) -> dict[str, int]:
    """Return the counts that "TYPE:COUNT" names, by type.

    Raises:
        QuestionError: not of that form, or a type twice.
    """
    return _by_type(texts, int, "TYPE:COUNT, such as 'hill run:2'")


def read_chances(texts: Iterable[str]) -> dict[str, float]:
    """Return the chances that "TYPE:SHARE" names, by type.

    Raises:
        QuestionError: not of that form, or a type twice.
    """
    return _by_type(texts, float, "TYPE:SHARE, such as 'hill run:0.9'")


def read_fixed(texts: Iterable[str]) -> dict[Date, str]:
    """Return the types that "DATE:TYPE" fixes, by date.

    Raises:
        QuestionError: not of that form, or a date twice.
    """
    fixed: dict[Date, str] = {}
    for text in texts:
        date, _, label = text.partition(":")
        if not label.strip():
            raise QuestionError(f"{text!r} is not of the form DATE:TYPE, such as 2031-05-02:row.")
        day = parse_date(date)
        if day in fixed:
            raise QuestionError(f"Two sessions are fixed on {day}; a plan has at most one a day.")
        fixed[day] = label.strip()
    return fixed


def _by_type(texts: Iterable[str], number: Callable[[str], Number], form: str) -> dict[str, Number]:
    read: dict[str, Number] = {}
    for text in texts:
        label, _, value = (part.strip() for part in text.rpartition(":"))
        if label in read:
            raise QuestionError(f"{label!r} is given twice; give each type once.")
        try:
            read[label] = number(value)
        except ValueError:
            label = ""
        if not label:
            raise QuestionError(f"{text!r} is not of the form {form}.")
    return read
