"""The libraries that only squads need."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from slackwater.model.errors import QuestionError


@contextmanager
def needed() -> Iterator[None]:
    """Say how to get a library that is missing.

    Raises:
        QuestionError: one is.
    """
    try:
        yield
    except ModuleNotFoundError as error:
        raise QuestionError(
            f"Squads need the library {error.name}: pip install 'slackwater[squad]'."
        ) from None
