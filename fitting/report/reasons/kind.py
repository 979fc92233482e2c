"""What a sentence is made by: a text with the names of facts in braces, or a function of them."""

from collections.abc import Callable, Mapping
from typing import Any

Sentence = str | Callable[..., str]


def say(said: Sentence, facts: Mapping[str, Any]) -> str:
    """Return a sentence with its facts."""
    return said.format(**facts) if isinstance(said, str) else said(**facts)
