"""The errors that slackwater raises on purpose, and the reasons that answers give.

    SlackwaterError(ValueError)
    ├── SeasonError      the season's data do not make sense; mend the data
    ├── QuestionError    the question does not fit the season; ask another
    └── NoAnswerError    the data or the fit do not support an answer

A `SeasonError` and a `QuestionError` say what is wrong, where, and how to mend it. A refusal is a
fact like any other: a `NoAnswerError` carries its reasons as codes with their numbers, and the
words for them are chosen where they are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any


class Reason:
    """Why there is no answer, or what to mind with one: a code and what its words need.

    Attributes:
        code: what it is, in a few words, such as "too few readings".
        facts: its numbers and names, by name; strings, numbers, and lists of them.
    """

    __slots__ = ("code", "facts")

    def __init__(self, code: str, **facts: Any) -> None:
        """Take the code and its facts."""
        self.code = code
        self.facts: Mapping[str, Any] = facts

    def among(self, **facts: Any) -> Reason:
        """Return the same reason with more facts, such as where it was found."""
        return type(self)(self.code, **{**self.facts, **facts})

    @classmethod
    def again(cls, kept: tuple[str, Mapping[str, Any]]) -> Reason:
        """Return a reason as `kept` gave it."""
        code, facts = kept
        return cls(code, **facts)

    @property
    def kept(self) -> tuple[str, dict[str, Any]]:
        """The code and its facts, as JSON can keep them."""
        return self.code, dict(self.facts)

    def __eq__(self, other: object) -> bool:
        """Say whether it is the same code with the same facts."""
        same = isinstance(other, Reason) and self.code == other.code
        return same and self.facts == other.facts  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        """Return a hash by the code alone, as facts may be lists."""
        return hash(self.code)

    def __repr__(self) -> str:
        """Return it as it would be written."""
        facts = "".join(f", {name}={value!r}" for name, value in self.facts.items())
        return f"Reason({self.code!r}{facts})"

    def __str__(self) -> str:
        """Return the code and its facts, for whoever reads no words: "thin type: sessions=3"."""
        facts = ", ".join(f"{name}={value!r}" for name, value in self.facts.items())
        return f"{self.code}: {facts}" if facts else self.code


class SlackwaterError(ValueError):
    """Base of all errors raised on purpose."""


class SeasonError(SlackwaterError):
    """The season's data do not make sense."""


class QuestionError(SlackwaterError):
    """The question does not fit the season."""


class NoAnswerError(SlackwaterError):
    """The data or the fit do not support an answer.

    Attributes:
        reasons: why not, one or more.
    """

    def __init__(self, *reasons: Reason) -> None:
        """Take the reasons; the error's own text is their codes."""
        super().__init__(*reasons)
        self.reasons = reasons

    def __str__(self) -> str:
        """Return the reasons' codes and facts."""
        return "; ".join(map(str, self.reasons))


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
