"""What is asked of a plan: sessions, days, fixed days, rest days, chances.

The clock of a plan: a session dated d acts on the night that ends on d + 1, so whether the
athlete is recovered before it is read on the morning of d itself, the last reading before it.
At most one session a day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypedDict, Unpack

import numpy as np

from slackwater.fitting.intake.dates import parse_date
from slackwater.fitting.spacing.session import day_of
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.fitting.state.back import FOUR_IN_FIVE, check_chance
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.text import plural, weekday
from slackwater.model.errors import NoAnswerError, QuestionError, Reason, unknown_name
from slackwater.model.names import WEEKDAYS

Date = dt.date | np.datetime64 | str

DEFAULT_DAYS: Final = 7
MOST_SESSIONS: Final = 28


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

    start: dt.date
    days: int
    wanted: Mapping[str, int]
    fixed: Mapping[dt.date, str]
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

    def date(self, day: int) -> dt.date:
        """Return the date of a day, counted from 0."""
        return self.start + dt.timedelta(days=day)

    def rests(self, day: int) -> bool:
        """Say whether a day was asked to be one of rest."""
        date = self.date(day)
        return str(date) in self.rest or weekday(date) in self.rest


def make_wish(
    now: Standing, wanted: Mapping[str, int], days: int = DEFAULT_DAYS, **options: Unpack[Options]
) -> Wish:
    """Check what is asked for and return it.

    Args:
        now: where the athlete stands.
        wanted: how many sessions of each type.
        days: how many days the plan has.
        **options: see `Options`.

    Raises:
        QuestionError: a type, date, count or chance that makes no sense; says which.
        NoAnswerError: the season has no session types.
    """
    types = now.types
    if not types:
        raise NoAnswerError(Reason("nothing to plan with"))
    night = day_of(now.night)
    first = _start(night, options.get("start"))
    _check_days(night, first, days)
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
    chance = options.get("chance", FOUR_IN_FIVE)
    chances = {label: chance_for.get(label, chance) for label in counts}
    for value in chances.values():
        check_chance(value)
    rest = tuple(dict.fromkeys(map(_rest, options.get("rest", ()))))
    wish = Wish(first, days, counts, on, rest, chances)
    _check_fixed(wish)
    return wish


def _date(given: Date) -> dt.date:
    if isinstance(given, str):
        return day_of(parse_date(given))
    return _date(str(given)[:10])  # both kinds begin with it, whatever time follows


def _start(night: dt.date, start: Date | None) -> dt.date:
    first = night if start is None else _date(start)
    if first < night:
        raise QuestionError(
            f"A plan from {first} would begin before the last reading ({night}); "
            "begin it on that day or later."
        )
    return first


def _check_days(night: dt.date, first: dt.date, days: int) -> None:
    if days < 1:
        raise QuestionError(f"A plan has 1 day or more, not {days}.")
    if (first - night).days + days - 1 >= FARTHEST:
        raise QuestionError(
            f"A plan of {plural(days, 'day')} from {first} would reach {FARTHEST} days or more "
            f"after the last reading ({night}), farther than can be foreseen; ask for fewer days."
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
        raise QuestionError("No session is wanted; say of which types, and how many.")
    if total > MOST_SESSIONS:
        raise QuestionError(
            f"{total} sessions are wanted; at most {MOST_SESSIONS} are planned at once. "
            "Plan a shorter block."
        )
    return counts


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
        day = (date - wish.start).days
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
