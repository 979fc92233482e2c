"""Whether the model describes a season, in words; quick to import."""

from __future__ import annotations

from collections.abc import Sequence

from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.text import plural
from slackwater.model.errors import Reason


def verdict(departures: Sequence[Reason]) -> list[str]:
    """Return whether the model describes a season, where not, and what that means.

    Args:
        departures: what departs.
    """
    if not departures:
        return [
            "Nothing speaks against the model: what it did not foretell of the readings looks "
            "like chance. That is no proof; what is small hides in chance."
        ]
    count = plural(len(departures), "way")
    return [f"The readings depart from the model in {count}.", *map(sentence, departures)]
