"""The picture by which a phone reads a link."""

from __future__ import annotations

import segno
from markupsafe import Markup


def as_picture(link: str) -> Markup:
    """Return a link as a QR code (ISO/IEC 18004) in inline SVG, black on white in any light."""
    drawn = segno.make(link, micro=False).svg_inline(omitsize=True, dark="#000", light="#fff")
    return Markup(drawn)  # made of numbers alone
