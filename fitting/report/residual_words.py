"""The words that residuals are told with, in a terminal as on the page."""

from __future__ import annotations

from collections.abc import Callable

from slackwater.fitting.describing.held import AfterSession, Held
from slackwater.fitting.describing.residuals import Residuals
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.residuals import mornings


def after(at: AfterSession) -> str:
    """Return which mornings are meant: "2nd morning", "hill run, 3rd to 5th morning"."""
    which = mornings(at.first_night, at.last_night)
    return which if at.type is None else f"{at.type}, {which}"


def percent(found: Held) -> tuple[str, str]:
    """Return how far readings lie off, and how far by chance, in percent."""
    return _pair(found, lambda value: words.signed(value, 0))


def number(found: Held, signed: bool = False) -> tuple[str, str]:
    """Return another number and its range by chance: "0.99 (0.82 to 1.20)", "0.67 to 1.49"."""
    if signed:
        return _pair(found, lambda value: words.signed(value, 2))
    return _pair(found, lambda value: f"{value:.2f}".replace("-", "\u2212"))


def others(answer: Residuals) -> list[tuple[str, str, str]]:
    """Return the numbers that are no means: what each is of, itself and its range by chance."""
    rows = [
        ("autocorrelation, one night to the next", *number(answer.lag_1_autocorrelation, True)),
        ("scatter, later half over earlier", *number(answer.scatter_later_over_earlier)),
    ]
    if answer.dose_power is not None:
        rows.append(("power of the dose (the model's: 1)", *number(answer.dose_power)))
    return rows


def _pair(found: Held, shown: Callable[[float], str]) -> tuple[str, str]:
    low, median, high = map(shown, found.value)
    least, _, most = map(shown, found.by_chance)
    return f"{median} ({low} to {high})", f"{least} to {most}"
