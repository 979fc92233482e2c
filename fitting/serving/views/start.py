"""The first screen where there is no one season to show: all by name, or the first to begin."""

from __future__ import annotations

from typing import Final

from slackwater.fitting.demo import DEMO_FOLDER, copy_demo
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown, path_of
from slackwater.fitting.serving.work import FIT
from slackwater.fitting.text import escaped
from slackwater.model.errors import QuestionError

_LONGEST: Final = 100  # characters of a folder's name
_UNFIT: Final = set('/\\:*?"<>|')  # what one system or another does not take in a name


def show(ask: Ask) -> Answered:
    """Show the seasons by name; the one there is, at once."""
    names = ask.seasons.names
    if len(names) == 1 and not ask.one("all"):
        return Elsewhere(path_of(names[0]))
    facts = {
        "home": ask.seasons.home,
        "to_begin": ask.seasons.to_begin or "",
        "demo": DEMO_FOLDER,
        "has_squad": ask.seasons.squad is not None,
        "has_demo": DEMO_FOLDER in names,
    }
    return Shown("start", "Seasons", facts)


def begin(ask: Ask) -> Answered:
    """Begin a season of that name, by what there is to begin with."""
    name = new_name(ask)
    ask.seasons.add(name)
    return Elsewhere(path_of(name, {"table": "table", "beats": "beats"}.get(ask.one("with"), "")))


def look_at_the_demo(ask: Ask) -> Answered:
    """Copy the invented season beside the others, and learn from it."""
    copy_demo(ask.seasons.home / DEMO_FOLDER)
    season = ask.seasons.add(DEMO_FOLDER)
    if not season.fitted:
        ask.works.start(season.path, FIT)
    said = "An invented season: a club rower who also lifts and runs hills. Learning from it now."
    return Elsewhere(path_of(DEMO_FOLDER, "fit"), [said])


def new_name(ask: Ask) -> str:
    """Return the name that a season is to have, which is that of its folder.

    Raises:
        QuestionError: it cannot be the name of a folder, or there is one.
    """
    name = ask.one("name")
    if not name or name.startswith(".") or len(name) > _LONGEST or escaped(name) != name:
        raise QuestionError("Give the season a name, such as that of its athlete or of its year.")
    if unfit := _UNFIT & set(name):
        raise QuestionError(f"A season's name becomes that of a folder; leave out {min(unfit)}")
    there = ask.seasons.home / name
    if there.exists() and (not there.is_dir() or any(there.iterdir())):
        raise QuestionError(f"There is {there} already; give the season another name.")
    return name
