"""The page, put together from its parts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Final, NamedTuple

import jinja2
from markupsafe import Markup

from slackwater.fitting.report import words
from slackwater.fitting.report.asked import Asked
from slackwater.fitting.report.caution import CAUTION, caution
from slackwater.fitting.report.page import parts_reading
from slackwater.fitting.report.page.part import Part, Picture, named
from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.text import listed

Layout = Iterable[tuple[str, Callable[[Asked], tuple[Part, ...]]]]


class Section(NamedTuple):
    """One of the page's questions, in the order in which a reader asks them.

    Attributes:
        label: its short name; its heading too where it has more than one part.
        parts: what answers it.
    """

    label: str
    parts: tuple[Part, ...]

    @property
    def folds(self) -> str:
        """What is folded up behind what is said first: "The picture and the numbers"."""
        names = (
            ("pictures", any(part.picture for part in self.parts)),
            ("days", any(part.weeks for part in self.parts)),
            ("numbers", any(part.table for part in self.parts)),
            ("rules", any(part.notes for part in self.parts)),
        )
        return words.capital(listed(name for name, there in names if there))


def page(asked: Asked, layout: Layout) -> str:
    """Return the whole page as HTML.

    Args:
        asked: all answers.
        layout: the page's questions by their labels, each with what makes its parts.
    """
    about = asked.answers["baseline"].about
    last_night = str(about.last_night)
    return _TEMPLATES.get_template("page.html.j2").render(
        season=named(about.season),
        date=words.day_name(last_night),
        year=last_night[:4],
        iso_date=last_night,
        caution=caution(asked.answers["today"]),
        whole_caution=caution(asked.answers["today"]) == CAUTION,
        reading=parts_reading.how_to_read(about.level),
        mind=sentences(about.warnings),
        sections=sections(asked, layout),
    )


def part_html(part: Part) -> str:
    """Return one part by itself as HTML, without a page around it."""
    module = _TEMPLATES.get_template("part.html.j2").module
    return str(module.body(part))  # type: ignore[attr-defined]


def sections(asked: Asked, layout: Layout) -> list[Section]:
    """Return the page's sections, the questions first."""
    return [
        *(Section(label, make(asked)) for label, make in layout),
        Section("Caution", (parts_reading.caution(),)),
    ]


def _svg(picture: Picture, text: str) -> Markup:
    """Return both widths of a picture as inline SVG, with what it shows in words.

    The drawings are made by this program, which escapes every name in them; the words are not.
    """
    return Markup().join(
        Markup('<svg class="picture {}" role="img" aria-label="{}"').format(width, text)
        + Markup(svg.removeprefix("<svg"))
        for width, svg in (("narrow", picture.narrow), ("wide", picture.wide))
    )


_UNBROKEN: Final = str.maketrans(
    {" ": "\N{NO-BREAK SPACE}", "–": "\N{WORD JOINER}–\N{WORD JOINER}"}
)


def _kept_together(text: str) -> str:
    """Return text in which a number stays with its unit, and a range in one line."""
    text = re.sub(r"(?<=\d) (?=(?:%|ms)(?!\w))", "\N{NO-BREAK SPACE}", text)
    return re.sub(r"\([^()]{1,24}\)", lambda found: found.group().translate(_UNBROKEN), text)


def environment(*loaders: jinja2.BaseLoader) -> jinja2.Environment:
    """Return what fills templates: those of these loaders, then the page's own."""
    own = jinja2.PackageLoader("slackwater.fitting.report.page", "templates")
    made = jinja2.Environment(
        loader=jinja2.ChoiceLoader([*loaders, own]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["svg"] = _svg
    made.filters["together"] = _kept_together
    return made


_TEMPLATES: Final = environment()
