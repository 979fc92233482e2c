"""Numbers as spreadsheets write them: decimal points or commas, thousands, units behind."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Final, Literal, NamedTuple

from slackwater.fitting.importing.cells import Cell
from slackwater.fitting.importing.words import MISSING, UNITS

Decimal = Literal[".", ","]
DECIMALS: Final[tuple[Decimal, ...]] = (".", ",")

_BLANKS: Final = " \u00a0\u2009\u202f"  # plain, no-break, thin, narrow no-break
_FORM: Final = (
    r"([+-]?(?:\d{{1,3}}(?:[{thousands}]\d{{3}})+|\d+)(?:[{decimal}]\d+)?|[+-]?[{decimal}]\d+)"
    r"(?:[eE]([+-]?\d{{1,3}}))?\s*([a-zA-Z]+\.?)?"
)
_FORMS: Final = {
    ".": re.compile(_FORM.format(thousands=f",'’{_BLANKS}", decimal=".")),  # noqa: RUF001
    ",": re.compile(_FORM.format(thousands=rf".'’{_BLANKS}", decimal=",")),  # noqa: RUF001
}
_TIMED: Final = re.compile(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d))?")  # a duration
_MIXED: Final = re.compile(r"[^\d.,eE+-]")


class Amount(NamedTuple):
    """A number and the unit behind it, as one of `UNITS`, as it stands, or empty."""

    value: float
    unit: str


def missing(cell: Cell) -> bool:
    """Say whether a cell stands for nothing."""
    return cell is None or (isinstance(cell, str) and cell.strip().casefold() in MISSING)


@lru_cache(100_000, typed=True)
def amount(cell: Cell, decimal: Decimal) -> Amount | None:
    """Return the number in a cell, None where there is none."""
    if isinstance(cell, bool) or missing(cell):
        return None
    if isinstance(cell, int | float):
        return Amount(float(cell), "")
    if isinstance(cell, dt.time):
        return Amount(60.0 * cell.hour + cell.minute + cell.second / 60, "min")
    if not isinstance(cell, str) or len(cell) > 60:
        return None
    if timed := _TIMED.fullmatch(cell.strip()):
        large, small, rest = (float(part or 0) for part in timed.groups())
        return Amount(60 * large + small + rest / 60, "min")
    found = _FORMS[decimal].fullmatch(cell.strip().lstrip("="))
    if not found:
        return None
    digits = _MIXED.sub("", found[1])
    plain = digits.replace("," if decimal == "." else ".", "").replace(",", ".")
    unit = (found[3] or "").rstrip(".").casefold()
    return Amount(float(f"{plain}e{found[2] or 0}"), UNITS.get(unit, unit))


def decimals(cells: Iterable[Cell]) -> list[Decimal]:
    """Return the decimal marks by which the most cells are numbers; one where both say the same."""
    given = [cell for cell in cells if not missing(cell)]
    read = {mark: [amount(cell, mark) for cell in given] for mark in DECIMALS}
    counts = {mark: sum(a is not None for a in found) for mark, found in read.items()}
    if read["."] == read[","]:
        return ["."]
    return [mark for mark in DECIMALS if counts[mark] == max(counts.values())]
