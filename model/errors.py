"""The errors that slackwater raises on purpose.

    SlackwaterError(ValueError)
    ├── SeasonError      the season's data do not make sense; mend the data
    ├── QuestionError    the question does not fit the season; ask another
    └── NoAnswerError    the data or the fit do not support an answer

Each message says what is wrong, where, and how to mend it.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


class SlackwaterError(ValueError):
    """Base of all errors raised on purpose."""


class SeasonError(SlackwaterError):
    """The season's data do not make sense."""


class QuestionError(SlackwaterError):
    """The question does not fit the season."""


class NoAnswerError(SlackwaterError):
    """The data or the fit do not support an answer."""


def unknown_name(kind: str, name: str, known: Iterable[str]) -> QuestionError:
    """Return the error for a name that the season does not have.

    Args:
        kind: what the name was meant to be, such as "session type".
        name: the name as asked for.
        known: the names that there are.
    """
    names = sorted(known)
    listed = ", ".join(repr(n) for n in names) or "none"
    close = nearest(name, names)
    hint = f" Did you mean {close!r}?" if close else ""
    return QuestionError(f"Unknown {kind} {name!r}. This season has: {listed}.{hint}")


def nearest(name: str, known: Iterable[str], alike: float = 0.6) -> str | None:
    """Return the known name that was most likely meant, None where none comes near.

    Args:
        name: the name as given.
        known: the names that there are; case and blanks around them do not count.
        alike: how alike they must be, from 0 to 1 (the ratio of difflib).
    """
    by_fold = {k.strip().casefold(): k for k in known}
    close = get_close_matches(name.strip().casefold(), by_fold, n=1, cutoff=alike)
    return by_fold[close[0]] if close else None
