"""Words that any text is made with: counts, lists, days of the week."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from typing import Final

from slackwater.model.names import WEEKDAYS

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

# What breaks a line, moves a terminal's cursor, or makes the text around it read otherwise: control
# characters, line and paragraph separators, bidirectional embeddings, overrides and isolates
# (Unicode Standard Annex 9, section 2), and halves of characters, which cannot be written at all.
_UNFIT: Final = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)


def escaped(text: str) -> str:
    r"""Return a text on one line, with `\x1b` and the like for what is unfit to be shown."""
    return _UNFIT.sub(lambda found: ascii(found[0])[1:-1], text)


def neutral(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula, for a CSV file that we write.

    One that begins as a formula can is written behind an apostrophe (OWASP, CSV Injection).
    """
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def plural(count: int, noun: str) -> str:
    """Return "1 day", "2 days"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def times(count: int) -> str:
    """Return "once", "twice", "3 times"."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence: "a", "a and b", "a, b and c"; "" for none."""
    *front, last = [*words] or [""]
    return f"{', '.join(front)} and {last}" if front else last


def quoted(labels: Iterable[str]) -> str:
    """Return names in quotes, with commas between them."""
    return ", ".join(repr(label) for label in labels)


def weekday(date: dt.date | str) -> str:
    """Return the English name of a day of the week; the date may be given in ISO form."""
    day = dt.date.fromisoformat(date) if isinstance(date, str) else date
    return WEEKDAYS[day.weekday()]
