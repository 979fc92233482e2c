"""The errors that slackwater raises on purpose.

    SlackwaterError(ValueError)
    ├── SeasonError      the season's data do not make sense; mend the data
    ├── FitError         the season does not support a fit, or the fit failed
    └── QuestionError    the posterior cannot answer this question

Each message says what is wrong, where, and how to mend it.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


class SlackwaterError(ValueError):
    """Base of all errors raised on purpose."""


class SeasonError(SlackwaterError):
    """The season's data do not make sense."""


class FitError(SlackwaterError):
    """The season does not support a fit, or the fit failed its checks."""


class QuestionError(SlackwaterError):
    """The posterior cannot answer this question."""


def unknown_name(kind: str, name: str, known: Iterable[str]) -> QuestionError:
    """Return the error for a name that the season does not have.

    Args:
        kind: what the name was meant to be, such as "session type".
        name: the name as asked for.
        known: the names that there are.
    """
    names = sorted(known)
    listed = ", ".join(repr(n) for n in names) or "none"
    close = get_close_matches(name, names, n=1)
    hint = f" Did you mean {close[0]!r}?" if close else ""
    return QuestionError(f"Unknown {kind} {name!r}. This season has: {listed}.{hint}")
