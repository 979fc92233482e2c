"""The page, put together from its parts."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import jinja2
import xarray as xr
from markupsafe import Markup

from slackwater.fitting.report import words
from slackwater.fitting.report.everything import COMPARED, WITH, Everything
from slackwater.fitting.report.page import (
    parts_contrasts,
    parts_reading,
    parts_recovery,
    parts_season,
    parts_today,
)
from slackwater.fitting.report.page.part import Part, Picture, named, refusal

_TODAY: Final = ("baseline", "forecast", "course")
_SEASON: Final = ("history", "course")


class Section(NamedTuple):
    """One of the page's questions, in the order in which a reader asks them.

    Attributes:
        label: its short name; its heading too where it has more than one part.
        parts: what answers it.
    """

    label: str
    parts: tuple[Part, ...]


def page(asked: Everything) -> str:
    """Return the whole page as HTML."""
    facts = asked.answers["baseline"].attrs
    return _TEMPLATES.get_template("page.html.j2").render(
        season=named(facts["season"]),
        date=words.day_name(facts["last_night"]),
        year=facts["last_night"][:4],
        iso_date=facts["last_night"],
        short_caution=parts_reading.SHORT_CAUTION,
        mind=facts["warnings"],
        sections=sections(asked),
    )


def part_html(part: Part) -> str:
    """Return one part by itself as HTML, without a page around it."""
    module = _TEMPLATES.get_template("part.html.j2").module
    return str(module.body(part))  # type: ignore[attr-defined]


def sections(asked: Everything) -> list[Section]:
    """Return the page's sections, the first about today."""
    level = asked.answers["baseline"].attrs["level"]

    def part(id: str, title: str, make: Callable[..., Part], *questions: str) -> Part:
        return _part(asked, id, title, make, *questions)

    return [
        Section("Today", (part("today", "Today", parts_today.today, *_TODAY),)),
        Section("Next reading", (part("tomorrow", "Next reading", _tomorrow(asked), "forecast"),)),
        Section("Days to recover", _recovery(asked)),
        Section("Why", (part("explain", "Why", parts_today.explain, "explain"),)),
        Section("Types", (part("elements", "Types", parts_contrasts.elements, "elements"),)),
        Section("Measures and trials", _measures(asked)),
        Section("Plan", (part("plan", "The plan", parts_season.plan, "spacing check"),)),
        Section("Season", (part("history", "Season", parts_season.history, *_SEASON),)),
        Section("Worth of the fit", (part("worth", "Worth", parts_season.worth, "worth"),)),
        Section("Caution", (parts_reading.caution(),)),
        Section("How to read this", (parts_reading.how_to_read(level),)),
    ]


def _part(
    asked: Everything, id: str, title: str, make: Callable[..., Part], *questions: str
) -> Part:
    """Return the part made from the answers to some questions, or why there is none."""
    for question in questions:
        if question in asked.refused:
            return refusal(id, title, asked.refused[question])
    answers = [asked.answers[question] for question in questions]
    return _minding(asked, make(*answers), answers)


def _minding(asked: Everything, part: Part, answers: Sequence[xr.Dataset]) -> Part:
    """Add to a part what to mind with its answers, unless it stands at the top of the page."""
    above = asked.answers["baseline"].attrs["warnings"]
    mind = dict.fromkeys(w for answer in answers for w in answer.attrs["warnings"])
    return replace(part, notes=(*part.notes, *(w for w in mind if w not in above)))


def _tomorrow(asked: Everything) -> Callable[[xr.Dataset], Part]:
    return lambda rest: parts_today.tomorrow(rest, asked.about(WITH))


def _recovery(asked: Everything) -> tuple[Part, ...]:
    by_type = _part(asked, "recovery", "By session type", parts_recovery.recovery, "recovery")
    if "recovery" in asked.refused:
        return (by_type,)
    return (by_type, parts_recovery.chances(asked.answers["recovery"]))


def _measures(asked: Everything) -> tuple[Part, ...]:
    compared = asked.about(COMPARED)
    refused = {
        question.removeprefix(COMPARED): why
        for question, why in asked.refused.items()
        if question.startswith(COMPARED)
    }
    ledger = _part(asked, "tested", "Everything tested", parts_contrasts.tested, "trial ledger")
    if not compared and not refused:
        return (ledger,)
    overview = _minding(asked, parts_contrasts.measures(compared, refused), [*compared.values()])
    return (overview, *(parts_contrasts.measure(answer) for answer in compared.values()), ledger)


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


_TEMPLATES: Final = jinja2.Environment(
    loader=jinja2.PackageLoader("slackwater.fitting.report.page", "templates"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_TEMPLATES.globals["svg"] = _svg
_TEMPLATES.filters["together"] = _kept_together
