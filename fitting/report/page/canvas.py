"""From a drawing to an inline SVG: sizes in pixels, colours that the page decides.

Colours are drawn as marks and become CSS variables, so that one picture serves light and dark.
Matplotlib is used through Figure alone: no pyplot, no state that outlives a picture.
"""

from __future__ import annotations

import re
import unicodedata
import warnings
from collections.abc import Callable, Mapping
from io import StringIO
from typing import Any, Final, NamedTuple

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slackwater.fitting.report.page.part import Picture, named

INK: Final = "#010101"
SOFT: Final = "#020202"
HAIR: Final = "#030303"
SHADE: Final = "#040404"
PAPER: Final = "#050505"
SERIES: Final = ("#060606", "#070707", "#080808", "#090909", "#0a0a0a", "#0b0b0b")
# What a colour stands for, in every picture.
STATE: Final = SERIES[0]  # the state, its dips and their recovery
AFTER_TRAINING: Final = SERIES[1]  # the next reading after a session
FORETOLD: Final = SERIES[2]  # what was foretold of readings
DIFFERENCE: Final = SERIES[3]  # what differs, or is added
BESIDE: Final = SERIES[4]  # the second of its kind
MARKERS: Final = ("o", "s", "^", "D", "v", "P")
LINES: Final = ("-", (0, (5, 2.5)), (0, (1.5, 2)))

_VARIABLES: Final = {
    INK: "var(--ink)",
    SOFT: "var(--soft)",
    HAIR: "var(--hair)",
    SHADE: "var(--shade)",
    PAPER: "var(--paper)",
    **{colour: f"var(--series-{i})" for i, colour in enumerate(SERIES, 1)},
}
_SETTINGS: Final[Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "slackwater",
    "text.parse_math": False,
    "font.family": ["DejaVu Sans"],
    "axes.unicode_minus": True,
}
_NO_METADATA: Final = dict.fromkeys(("Date", "Creator", "Format", "Type"))
_PIXELS_AN_INCH: Final = 72  # one SVG unit is then one CSS pixel


class Size(NamedTuple):
    """What a picture is drawn for.

    Attributes:
        name: narrow or wide.
        width: in pixels.
        text: text size in pixels.
    """

    name: str
    width: int
    text: float

    @property
    def wide(self) -> bool:
        """Whether there is room for more than one panel beside another."""
        return self.width > NARROW.width


NARROW: Final = Size("narrow", 320, 12.0)
WIDE: Final = Size("wide", 720, 13.0)


def picture(key: str, draw: Callable[[Size], Figure]) -> Picture:
    """Return a picture drawn for both widths.

    Args:
        key: what no other picture of the page is called.
        draw: draws it for one width.
    """
    return Picture(*(_as_svg(draw, size, f"{key}-{size.name}") for size in (NARROW, WIDE)))


def figure(size: Size, height: float) -> Figure:
    """Return an empty figure of a height in pixels."""
    return Figure(
        figsize=(size.width / _PIXELS_AN_INCH, height / _PIXELS_AN_INCH), dpi=_PIXELS_AN_INCH
    )


def axes(fig: Figure, left: float, top: float, right: float, bottom: float) -> Axes:
    """Return axes without a frame; the margins to the figure's edges are in pixels."""
    width, height = (edge * _PIXELS_AN_INCH for edge in fig.get_size_inches())
    place = (
        left / width,
        bottom / height,
        (width - left - right) / width,
        (height - top - bottom) / height,
    )
    ax = fig.add_axes(place)
    for spine in ax.spines.values():
        spine.set_visible(False)
    ax.tick_params(length=0, colors=SOFT, labelcolor=SOFT, pad=4)
    ax.set_axisbelow(True)
    ax.patch.set_visible(False)
    return ax


def write(ax: Axes, x: float, y: float, text: str, size: Size, **how: Any) -> None:
    """Write text at a place of the axes' data; ink unless told otherwise."""
    style: dict[str, Any] = {"fontsize": size.text, "color": INK, "clip_on": False} | how
    ax.text(x, y, text, **style)


def shortened(label: str, pixels: float, size: Size) -> str:
    """Return a name as it fits into so many pixels, with an ellipsis where it had to be cut."""
    shown = named(label)
    room = pixels / size.text
    if _width(shown) <= room:
        return shown
    kept = ""
    for character in label:
        if _width(kept) + _width(character) > room - 1.0:
            break
        kept += character
    return named(kept.rstrip() + "…")


def text_pixels(label: str, size: Size) -> float:
    """Return about how wide a name is, rather too much than too little."""
    return _width(named(label)) * size.text


def _width(text: str) -> float:
    """Return about how many ems text takes, rather too many than too few."""
    return sum(_em(character) for character in text)


def _em(character: str) -> float:
    if unicodedata.category(character) in ("Mn", "Me", "Cf"):
        return 0.0
    if unicodedata.east_asian_width(character) in "WF" or ord(character) > 0xFFFF:
        return 1.35
    if character in "iljtfrI.,:;'|!()[] ":
        return 0.42
    return 0.9 if character.isupper() or character in "mwMW@%…" else 0.65


def _as_svg(draw: Callable[[Size], Figure], size: Size, key: str) -> str:
    written = StringIO()
    with mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        # The reader's own fonts show what the one for measuring has no glyph for.
        warnings.filterwarnings("ignore", "Glyph .* missing", UserWarning)
        fig = draw(size)
        fig.savefig(written, format="svg", transparent=True, metadata=_NO_METADATA)
    return _inline(written.getvalue(), key)


def _inline(svg: str, key: str) -> str:
    """Return a file's SVG as a part of a page: no prologue, own ids, the page's colours.

    Text between the tags, which holds names that people gave, stays as it is.
    """
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<(metadata|style)\b[^>]*>.*?</\1>", "", svg, flags=re.DOTALL)
    referred = dict.fromkeys(re.findall(r"(?:href=\"|url\()#([^\")]+)", svg))
    own = {name: f"{key}-{i}" for i, name in enumerate(referred)}
    svg = re.sub(r"<[^>]*>", lambda tag: _own_tag(tag.group(), own), svg)
    return re.sub(r">\s*\n\s*<", "><", svg).strip()


def _own_tag(tag: str, own: Mapping[str, str]) -> str:
    if tag.startswith("<svg"):
        tag = re.sub(r' (width|height|version|xmlns|xmlns:xlink)="[^"]*"', "", tag)
    tag = re.sub(r' id="([^"]*)"', lambda id: _own_id(id.group(1), own), tag)
    tag = re.sub(r"(?:xlink:)?(href=\"|url\()#([^\")]+)", lambda to: f"{to[1]}#{own[to[2]]}", tag)
    tag = re.sub(r' transform="rotate\(-?0 [^"]*\)"', "", tag)
    tag = re.sub(r"font-family: [^;\"]*;? ?", "", tag)
    tag = re.sub(r"-?\d+\.\d{3,}", _two_decimals, tag)
    tag = re.sub(r' style="([^"]*)"', _as_attributes, tag)
    for mark, variable in _VARIABLES.items():
        tag = tag.replace(mark, variable)
    return re.sub(r"\s+", " ", tag)


def _own_id(name: str, own: Mapping[str, str]) -> str:
    """Return an element's id as the page has it; nothing where nothing refers to it."""
    return f' id="{own[name]}"' if name in own else ""


def _as_attributes(style: re.Match[str]) -> str:
    """Return a style as attributes, which a page that forbids styles inside it shows as well."""
    pairs = (part.partition(":") for part in style[1].split(";") if part.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, _, value in pairs)


def _two_decimals(number: re.Match[str]) -> str:
    return f"{float(number.group()):.2f}".rstrip("0").rstrip(".")
