"""From the bytes of a text file to its cells: its encoding, its separator, its rows."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections import Counter
from typing import Final, NamedTuple

from slackwater.fitting.importing.cells import MOST_CELLS, MOST_ROWS, Row, Sheet, plain
from slackwater.fitting.importing.dates import looks_dated
from slackwater.fitting.intake.problems import Problem, SeasonFilesError

SEPARATORS: Final = (";", "\t", ",", "|")
_MARKS: Final = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF32_LE: "utf-32",
    codecs.BOM_UTF32_BE: "utf-32",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
# Western, Central European, Cyrillic, Greek, Turkish and Baltic Windows; old Macintosh and DOS.
_CODE_PAGES: Final = (
    "cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "cp1257", "mac_roman", "cp850",
)  # fmt: skip
_WORD: Final = re.compile(r"[^\s;,|\"]+")
_LOOKED_AT: Final = 200  # rows by which the separator is found
_SAMPLE: Final = 100_000  # characters of them


class Text(NamedTuple):
    """A text file's rows, and how they were found.

    Attributes:
        sheet: the rows.
        encoding: the encoding by which it was read.
        encodings: all that are possible and read the text differently; the first was taken.
        shown: a word that each of them reads differently.
        separator: what parts the fields.
    """

    sheet: Sheet
    encoding: str
    encodings: list[str]
    shown: list[str]
    separator: str


def read_text(
    file: str, data: bytes, encoding: str | None = None, separator: str | None = None
) -> Text:
    """Return a text file's cells.

    Args:
        file: its name, for messages.
        data: its bytes.
        encoding: the encoding, where it was chosen.
        separator: what parts the fields, where it was chosen.

    Raises:
        SeasonFilesError: it is no text, not in the chosen encoding, or has too many rows.
    """
    candidates = [encoding] if encoding else encodings(data)
    texts: dict[str, str] = {}
    for name in candidates:
        try:
            texts.setdefault(data.decode(name), name)
        except (UnicodeError, LookupError):
            continue
    texts = {text: name for text, name in texts.items() if "\0" not in text}
    if not texts:
        what = f"this is not {encoding} text" if encoding else "this is no text and no spreadsheet"
        mend = "save it as CSV in UTF-8, or as .xlsx or .ods"
        raise SeasonFilesError([Problem(file, 1, 1, what, mend)])
    text, taken = next(iter(texts.items()))
    text = text.lstrip("\ufeff")
    first, _, rest = text.partition("\n")
    skipped = 0
    if len(hint := first.strip().strip('"').casefold()) == 5 and hint.startswith("sep="):
        separator, text, skipped = separator or hint[4], rest, 1
    separator = separator or _separator(text)
    rows = _rows(file, text, separator, MOST_ROWS, skipped)
    words = [_odd_words(each) for each in texts]
    shown = next(([*each] for each in zip(*words, strict=False) if len({*each}) > 1), [])
    shown = shown or [next(iter(each), "") for each in words]
    return Text(Sheet("", rows), taken, [*texts.values()], shown, separator)


def encodings(data: bytes) -> list[str]:
    """Return the encodings in which bytes may be text, the likeliest first."""
    for mark, name in _MARKS.items():
        if data.startswith(mark):
            return [name]
    head = data[:2000]
    if head[1::2].count(0) > len(head) // 4:
        return ["utf-16-le"]
    if head[0::2].count(0) > len(head) // 4:
        return ["utf-16-be"]
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return [name for name in _CODE_PAGES if _plausible(data, name)] or ["cp1252"]
    return ["utf-8"]


def _plausible(data: bytes, encoding: str) -> bool:
    """Say whether every word that a code page makes of the bytes could be one."""
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return all(_could_be_a_word(word) for word in _odd_words(text))


def _odd_words(text: str) -> list[str]:
    """Return the words with a character beyond ASCII in them, each once."""
    return [word for word in dict.fromkeys(_WORD.findall(text)) if not word.isascii()]


def _could_be_a_word(word: str) -> bool:
    """Say whether a word has letters of one script, capitals at its start, no sign inside."""
    for before, odd, after in zip(f" {word}", word, f"{word[1:]} ", strict=False):
        kind = unicodedata.category(odd)
        if odd.isascii():
            continue
        inside = before.isalpha() and after.isalpha()
        if kind in {"Cc", "Cn", "Co"} or (inside and kind in {"Sk", "So", "No", "Sc", "Sm", "Po"}):
            return False
        if odd.isalpha():
            if any(c.isalpha() and _script(c) != _script(odd) for c in (before, after)):
                return False
            if odd.isupper() and before.isalpha() and not word.isupper():
                return False
    return True


def _script(letter: str) -> str:
    return unicodedata.name(letter, "?").split(" ")[0]


def _separator(text: str) -> str:
    """Return what parts the fields: that by which the most rows hold a date and agree in length."""

    def worth(separator: str) -> tuple[int, int]:
        rows = _rows("", text[:_SAMPLE], separator, _LOOKED_AT, 0)
        dated = sum(any(map(looks_dated, row.cells)) for row in rows if len(row.cells) > 1)
        lengths = Counter(len(row.cells) for row in rows if len(row.cells) > 1)
        return dated, max(lengths.values(), default=0)

    return max(SEPARATORS, key=worth)


def _rows(file: str, text: str, separator: str, most: int, skipped: int) -> list[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[Row] = []
    start, count = 1, 0
    try:
        for cells in reader:
            count += len(cells)
            rows.append(Row(start + skipped, [plain(cell) for cell in cells]))
            start = reader.line_num + 1
            if len(rows) >= most and not file:
                return rows
            if len(rows) > most or count > MOST_CELLS:
                what = f"there are over {most:,} rows or {MOST_CELLS:,} cells"
                mend = "leave in it one season's rows and columns"
                raise SeasonFilesError([Problem(file, start, 1, what, mend)])
    except csv.Error as error:
        if file:
            what, mend = f"the row cannot be read ({error})", "close the quoted field before it"
            raise SeasonFilesError([Problem(file, start, 1, what, mend)]) from None
    return rows
