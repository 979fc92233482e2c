"""What a hand may have meant: the slips of typing numbers, and which of them fits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Final

from slackwater.fitting.doubts.foreseen import LIKELY, Foreseen

_TOO_MUCH_MS: Final = 1000.0

Meant = tuple[str, float]


def likeliest(slips: Iterable[Meant], foreseen: Foreseen) -> Meant | None:
    """Return the slip whose meaning was the most to be expected, None where none was.

    Args:
        slips: what may have gone wrong, and the number that was then meant, above 0.
        foreseen: what the logarithm of the number was expected to be.
    """
    chances = [(foreseen.chance(math.log(meant)), slip, meant) for slip, meant in slips]
    chance, slip, meant = max(chances, key=lambda each: each[0], default=(0.0, "", 0.0))
    return (slip, meant) if chance >= LIKELY else None


def of_a_number(number: float) -> Iterator[Meant]:
    """Yield what may have been meant by a number above 0: its point or its digits misplaced."""
    for factor in (10, 100, 1000):
        yield "decimal point", number / factor
    yield "decimal point", number * 10
    text = f"{number:.15g}"
    for place in range(len(text) - 1):
        one, two = text[place], text[place + 1]
        if one != two and "." not in (one, two) and not (place == 0 and two == "0"):
            yield "swapped digits", float(text[:place] + two + one + text[place + 2 :])


def of_a_dose(dose: float) -> Iterator[Meant]:
    """Yield the same for a dose, which may have been given in percent."""
    yield "percent", dose / 100
    yield from of_a_number(dose)


def of_a_reading(ms: float) -> Iterator[Meant]:
    """Yield the same for a reading entered as milliseconds, with what its unit may have been."""
    yield from of_a_number(ms)
    yield "seconds", ms * 1000
    if ms < math.log(_TOO_MUCH_MS):
        yield "logarithm", math.exp(ms)
        yield "logarithm to base 10", 10**ms
    elif ms > _TOO_MUCH_MS:
        yield "microseconds", ms / 1000
