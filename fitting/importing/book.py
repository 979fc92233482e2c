"""From the bytes of any file to its sheets: text, Excel, OpenDocument, Parquet."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from slackwater.fitting.files import MEBIBYTE
from slackwater.fitting.importing.cells import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    Row,
    Sheet,
    plain,
)
from slackwater.fitting.importing.text import read_text
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["text", "spreadsheet", "parquet"]

MOST_OF_A_FILE: Final = 64 * MEBIBYTE
MOST_UNPACKED: Final = 512 * MEBIBYTE
_OLE: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # the container of .xls (MS-CFB 2.2)
_ZIP: Final = b"PK\x03\x04"
_PARQUET: Final = b"PAR1"


@dataclass(frozen=True)
class Book:
    """A file's sheets.

    Attributes:
        file: its name.
        kind: what kind of file it is.
        sheets: its sheets, those without a cell left out.
        encoding: of a text, how it was read.
        encodings: of a text, in which encodings it can be read, where they differ.
        shown: a word as each of them reads it.
        separator: of a text, what parts its fields.
    """

    file: str
    kind: Kind
    sheets: Sequence[Sheet]
    encoding: str | None = None
    encodings: Sequence[str] = ()
    shown: Sequence[str] = ()
    separator: str | None = None


def kind_of(data: bytes) -> Kind:
    """Return what kind of file bytes are, by how they begin."""
    if data.startswith((_OLE, _ZIP)):
        return "spreadsheet"
    return "parquet" if data.startswith(_PARQUET) else "text"


def read_book(
    file: str, data: bytes, encoding: str | None = None, separator: str | None = None
) -> Book:
    """Return a file's sheets.

    Args:
        file: its name, for messages.
        data: its bytes.
        encoding: of a text, its encoding where that was chosen.
        separator: of a text, what parts its fields, where that was chosen.

    Raises:
        SeasonFilesError: it cannot be read.
        QuestionError: what reads this kind of file is not installed.
    """
    kind = kind_of(data)
    if kind == "text":
        text = read_text(file, data, encoding, separator)
        sheets = [text.sheet]
        found = (text.encoding, text.encodings, text.shown, text.separator)
        return Book(file, kind, _with_cells(file, sheets), *found)
    frames = _spreadsheet(file, data) if kind == "spreadsheet" else _parquet(file, data)
    sheets = [Sheet(name, [*_rows(frame)]) for name, frame in frames.items()]
    return Book(file, kind, _with_cells(file, sheets))


def _spreadsheet(file: str, data: bytes) -> dict[str, pd.DataFrame]:
    if data.startswith(_ZIP):
        _refuse_bomb(file, data)
    try:
        import pandas as pd
        import python_calamine  # noqa: F401  # the reader, which pandas finds by its name
    except ImportError:
        raise _not_installed(file) from None
    try:
        return pd.read_excel(
            io.BytesIO(data), sheet_name=None, header=None, engine="calamine", dtype=object,
            na_filter=False, keep_default_na=False,
        )  # fmt: skip
    except Exception as error:  # whatever a library makes of a damaged file
        raise _unreadable(file, "no spreadsheet that can be read", error) from None


def _parquet(file: str, data: bytes) -> dict[str, pd.DataFrame]:
    try:
        import pandas as pd
        from pyarrow import parquet
    except ImportError:
        raise _not_installed(file) from None
    try:
        opened = parquet.ParquetFile(io.BytesIO(data))
        if opened.metadata.num_rows > MOST_ROWS or opened.metadata.num_columns > MOST_COLUMNS:
            raise ValueError(f"over {MOST_ROWS:,} rows or {MOST_COLUMNS:,} columns")
        frame = opened.read().to_pandas()
    except Exception as error:
        raise _unreadable(file, "no Parquet file that can be read", error) from None
    if not isinstance(frame.index, pd.RangeIndex):
        frame = frame.reset_index()
    header = pd.DataFrame([list(map(str, frame.columns))], columns=frame.columns, dtype=object)
    return {"": pd.concat([header, frame.astype(object)], ignore_index=True)}


def _refuse_bomb(file: str, data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(part.file_size for part in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError, RuntimeError) as error:
        raise _unreadable(file, "a damaged spreadsheet", error) from None
    if size > MOST_UNPACKED:
        most = MOST_UNPACKED // MEBIBYTE
        what = f"it unpacks to over {most} MiB, the most that is read"
        raise SeasonFilesError([Problem(file, 1, 1, what, "save the sheet that matters as CSV")])


def _rows(frame: pd.DataFrame) -> Iterable[Row]:
    for number, cells in enumerate(frame.itertuples(index=False, name=None), start=1):
        yield Row(number, [plain(cell) for cell in cells])


def _with_cells(file: str, sheets: Sequence[Sheet]) -> list[Sheet]:
    """Return the sheets that hold something.

    Raises:
        SeasonFilesError: none does, or one is larger than a season's can be.
    """
    held = [sheet for sheet in sheets if not all(row.blank for row in sheet.rows)]
    if not held:
        mend = "see whether it is the right file"
        raise SeasonFilesError([Problem(file, 1, 1, "the file is empty", mend)])
    for sheet in held:
        columns = max(len(row.cells) for row in sheet.rows)
        rows = len(sheet.rows)
        if rows > MOST_ROWS or columns > MOST_COLUMNS or rows * columns > MOST_CELLS:
            what = f"there are over {MOST_ROWS:,} rows, {MOST_COLUMNS:,} columns or "
            what += f"{MOST_CELLS:,} cells"
            mend = "leave in it one season's rows and columns"
            raise SeasonFilesError([Problem(file, 1, 1, what, mend)])
    return held


def _unreadable(file: str, what: str, error: Exception) -> SeasonFilesError:
    why = " ".join(str(error).split())[:120] or type(error).__name__
    mend = "open it in a spreadsheet and save it again, or save it as CSV"
    return SeasonFilesError([Problem(file, 1, 1, f"this is {what} ({why})", mend)])


def _not_installed(file: str) -> QuestionError:
    return QuestionError(
        f"{file}: spreadsheets and Parquet files are read by an extra that is not installed: "
        "pip install 'slackwater[sheets]'. Or save the file as CSV."
    )


def read_packed(file: str, data: bytes) -> Book | list[Problem] | str:
    """Return a spreadsheet's or Parquet file's sheets, or what is wrong: to be called apart."""
    try:
        return read_book(file, data)
    except SeasonFilesError as error:
        return error.problems
    except QuestionError as error:
        return str(error)
