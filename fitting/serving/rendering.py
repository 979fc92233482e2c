"""Templates filled: a view's facts in the frame that all views share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from importlib.resources import files
from typing import Any, Final, NamedTuple

import jinja2

from slackwater.fitting.report import words
from slackwater.fitting.report.page.page import environment
from slackwater.fitting.report.pieces import Facts, Line
from slackwater.fitting.serving.asked import Shown, path_of
from slackwater.fitting.serving.told import Done

VIEWS: Final = (
    ("", "Morning"),
    ("log", "Log"),
    ("season", "Season"),
    ("types", "Types"),
    ("plan", "Plan"),
    ("trial", "Trial"),
    ("fit", "Fit"),
)


class Frame(NamedTuple):
    """What stands around a view.

    Attributes:
        season: the season's name; empty for views of none.
        view: the view's place in `VIEWS`, by its path.
        names: of all seasons.
        address: that was asked for.
        token: what the visitor's forms must hold.
        done: what the change before did.
        phone: whether a phone may be let in.
    """

    season: str
    view: str
    names: Sequence[str]
    address: str
    token: str
    done: Done | None
    phone: bool = False


def rendered(shown: Shown, frame: Frame) -> str:
    """Return a view's page as HTML."""
    return _TEMPLATES.get_template(f"{shown.template}.html.j2").render(
        **shown.facts,
        title=shown.title,
        frame=frame,
        views=VIEWS,
        to=lambda view="": path_of(frame.season, view),
        seasons=[(name, path_of(name)) for name in frame.names],
    )


def static(name: str) -> bytes:
    """Return a style sheet or a script by its name; the report's own style is `report.css`."""
    if name == "report.css":
        return (files("slackwater.fitting.report.page") / "templates" / "page.css").read_bytes()
    return (files("slackwater.fitting.serving") / "static" / name).read_bytes()


def _day(date: dt.date | str) -> str:
    return words.day_name(str(date)[:10])


def _kind(piece: Any) -> str:
    """Return what a piece of a text is, for the template that shows it."""
    return "line" if isinstance(piece, Line) else "facts" if isinstance(piece, Facts) else "table"


_TEMPLATES: Final = environment(jinja2.PackageLoader("slackwater.fitting.serving", "templates"))
_TEMPLATES.filters |= {"day": _day, "kind": _kind}
