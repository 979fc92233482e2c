"""The first screen where there is no one season to show: all by name, or none yet."""

from __future__ import annotations

from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown, path_of


def show(ask: Ask) -> Answered:
    """Show the seasons by name; the one there is, at once."""
    names = ask.seasons.names
    if len(names) == 1 and not ask.one("all"):
        return Elsewhere(path_of(names[0]))
    return Shown("start", "Seasons", {"home": ask.seasons.home, "to_begin": ask.seasons.to_begin})
