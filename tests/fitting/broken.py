"""Broken and hostile files by the hundred, and what becomes of each.

    python -m tests.fitting.broken

makes each in a folder of its own, asks about it on the command line, and prints how many of each
kind were read, how many refused and how, and whether any left a traceback, took long, changed a
file, named no place, or reached the terminal with more than plain text.
"""

from __future__ import annotations

import io
import json
import os
import random
import re
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from slackwater.fitting import SeasonFolder
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Ran, run
from tests.fitting.importing.exports import exports
from tests.fitting.report import folders

SLOW: Final = 20.0  # seconds
PLACE: Final = re.compile(r"^[^\n]*?:\d+:\d+: .+; .+")
UNFIT: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
RECORD: Final = re.compile(r"(trials\.json|plans\.json|\.journal(:\d+)?): [^\n]+; [^\n]+")
READINGS: Final = "date,rmssd_ms\n2031-01-06,57.6\n2031-01-07,56.8\n"
SESSIONS: Final = "date,type,dose\n2031-01-06,row,1\n"
SEASON: Final = {"readings.csv": READINGS.encode(), "sessions.csv": SESSIONS.encode()}
ESCAPES: Final = "\x1b[31m\x1b]0;gone\x07\u202ecod.exe"
DEEP: Final = "[" * 100_000


@dataclass(frozen=True)
class Broken:
    """One broken input.

    Attributes:
        kind: what kind of thing it is.
        name: what is wrong with it.
        make: makes it in an empty folder, and returns what to type.
        refused: whether it must be refused.
    """

    kind: str
    name: str
    make: Callable[[Path], Sequence[object]]
    refused: bool = False


def season(folder: Path, **files: bytes | None) -> Path:
    """Make a season of two mornings, with some of its files as given."""
    place = folder / "season"
    place.mkdir(exist_ok=True)
    for name, content in {**SEASON, **{k.replace("__", "."): v for k, v in files.items()}}.items():
        if content is not None:
            (place / name).write_bytes(content)
    return place


def of_file(
    kind: str, name: str, file: str, content: bytes, *command: str, refused: bool = False
) -> Broken:
    def make(folder: Path) -> Sequence[object]:
        place = season(folder, **{file: content})
        first, *rest = command or ("check",)
        return [*first.split(), place, *rest]

    return Broken(kind, name, make, refused)


def mutated(content: bytes, rng: random.Random) -> bytes:
    """Return a file with a few things done to its bytes."""
    data = bytearray(content)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data)) if data else 0
        match rng.randrange(7):
            case 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                del data[at:]
            case 2:
                del data[at : at + rng.randint(1, 40)]
            case 3:
                data[at:at] = rng.choice(
                    [b'"', b";", b"\0", b"\r", b"\n\n", b",,,", b"\xff", b"\x1b[2J"]
                )
            case 4:
                data[at:at] = data[: rng.randint(1, 200)]
            case 5:
                data[at : at + 30] = bytes(rng.randrange(256) for _ in range(30))
            case _:
                data[at:at] = rng.choice(["é", "\u202e", "－", "٣", "\ufeff", "½"]).encode()
    return bytes(data)


def of_season_files() -> Iterator[Broken]:
    rng = random.Random(sum(map(ord, "broken")))
    demo = Path(__file__).parents[2] / "demo_data"
    for name in ("readings.csv", "sessions.csv", "types.csv", "interventions.csv", "stressors.csv"):
        content = (demo / name).read_bytes()
        for n in range(16):
            yield of_file("season files, damaged bytes", f"{name} {n}", name, mutated(content, rng))
    dates = [
        "", " ", "2031-02-30", "2031-13-01", "31-01-07", "2031/01/07", "7.1.2031", "20310107", "today",
        "2031-W02-1", "0000-00-00", "9999-12-31", "1066-10-14", "2031-01-07T06:00", "２０３１-01-07",
        "2031-01-07 ", "-2031-01-07", "2031-1-7", "=TODAY()", "47000", "\u202e2031-01-07", "2031-01-07\x00",
    ]  # fmt: skip
    for text in dates:
        rows = f"{READINGS}{text},58\n".encode()
        refused = text.strip() != "2031-01-07"
        yield of_file("season files, dates", repr(text), "readings.csv", rows, refused=refused)
    numbers = [
        "", "0", "-5", "nan", "inf", "-inf", "1e400", "1e-400", "56,4", "56;4", "5 6", "56ms", "fifty",
        "--5", "1_000", "0x38", "٥٦", "５６", "5.6.7", "1e", "+", "=56", "56\x1b[0m", "9" * 5000, "½",
    ]  # fmt: skip
    for text in numbers:
        rows = f"{READINGS}2031-01-08,{text}\n".encode()
        yield of_file("season files, numbers", repr(text)[:30], "readings.csv", rows, refused=True)
    for text in (
        "",
        "\x1b[31mrow",
        "row\u202e",
        "ro\x07w",
        "r\x9bw",
        '"row\nrow"',
        "ro\u2028w",
        "\u2066row",
    ):
        rows = f"date,type\n2031-01-06,{text}\n".encode()
        yield of_file("season files, names", repr(text), "sessions.csv", rows, refused=True)
    for encoding in ("utf-16", "utf-16-le", "utf-32", "cp1252", "utf-8-sig", "cp500", "utf-7"):
        coded = f"{READINGS}2031-01-08,58\n".replace(
            "date", "date" if encoding != "cp1252" else "daté"
        )
        yield of_file("season files, encodings", encoding, "readings.csv", coded.encode(encoding),
                      refused=encoding != "utf-7")  # fmt: skip
    whole: dict[str, str] = {
        "empty": "", "blanks": " \n \n", "header alone": "date,rmssd_ms\n", "no header": "2031-01-06,50\n",
        "header twice": "date,date,rmssd_ms\n2031-01-06,2031-01-06,5\n", "commas alone": ",,,\n" * 50,
        "an open quote": READINGS + '2031-01-08,"58\n' * 3, "quotes alone": '"' * 501,
        "a field of a megabyte": READINGS + "2031-01-08," + "5" * 2**20, "30,000 columns": "date" + ",x" * 30_000,
        "a long unclosed quote": READINGS + '2031-01-08,"' + "x\n" * 200_000, "page breaks": "\f".join(READINGS),
        "semicolons": READINGS.replace(",", ";"), "a semicolon row": READINGS + "2031-01-08;58\n",
        "a tab row": READINGS + "2031-01-08\t58\n", "a page of HTML": "<!doctype html><p>404</p>",
        "JSON": json.dumps({"date": ["2031-01-06"]}), "a script": "#!/bin/sh\nrm -rf /\n",
        "one row twice": READINGS + "2031-01-07,56.8\n", "300,000 rows": READINGS + "2031-01-08,58\n" * 300_000,
    }  # fmt: skip
    for name, text in whole.items():
        yield of_file("season files, whole", name, "readings.csv", text.encode(), refused=True)


def of_settings() -> Iterator[Broken]:
    texts = [
        "[", "a", "=", "name", "name =", 'name = "', 'name = """', "name = 1", "name = []", 'name = ""',
        f'name = "{ESCAPES}"', "[csv", "[[csv]]", "csv = 3", "[csv]\nseparator = 1", '[csv]\nseparator = ";;"',
        '[csv]\nencoding = "hex"', '[csv]\nencoding = "idna"', '[csv]\nencoding = "punycode"',
        '[csv]\nencoding = "\x00"', "[columns]\nreadings = 1", '[columns.readings]\ndate = ""',
        '[columns.readings]\ndate = "x"\nrmssd_ms = "x"', "[columns.x]", "name = {", f"name = {DEEP}",
        f"x = {'9' * 10_000}", "x = 1e9999999999", "x = 9999-99-99", 'name = "a"\nname = "b"', "\x00", "\ufeff",
        "import = 1", "[import]\nx = 1", "name = '''\x1b'''", "a.b.c.d = 1", '"" = 1', "name = inf", "🦀 = 1",
        "x = [" + "{a=1}," * 50_000 + "]",
    ]  # fmt: skip
    for text in texts:
        content = text.encode()
        yield of_file("season.toml", repr(text)[:40], "season.toml", content, refused=True)
    yield of_file("season.toml", "Latin-1", "season.toml", b'name = "Fr\xfchling"', refused=True)
    hostile = [
        "[[import]]", "[[import]]\nheaders = 3", '[[import]]\nheaders = ["Date", "HRV"]\ncolumns = 3',
        '[[import]]\nheaders = ["Date", "HRV"]\nseparator = "no"', "[[import]]\nheaders = [1]",
        '[[import]]\nheaders = ["Date", "HRV"]\nencoding = "hex"\ncolumns = {date = ["x"]}',
        '[[import]]\nheaders = ["Date", "HRV"]\ndates = "no"', '[[import]]\nheaders = ["Date"]\nusual = {x = 0}',
    ]  # fmt: skip
    for text in hostile:

        def make(folder: Path, text: str = text) -> Sequence[object]:
            (folder / "a.csv").write_text("Date,HRV\n2031-01-20,57.6\n2031-01-21,58.6\n")
            return ["import", folder / "a.csv", season(folder, season__toml=text.encode()), "--yes"]

        yield Broken("season.toml, remembered shapes", repr(text)[:50], make)


@cache
def a_fitted_season() -> dict[str, bytes]:
    """Return the files of a season with a posterior made by hand."""
    with tempfile.TemporaryDirectory() as made:
        names = folders.Names(
            "hills", "paddle", "dip", "effort", ("hard", "easy"), "cold", "lifting"
        )
        folders.write(Path(made), names)
        folder = SeasonFolder(made)
        known = Known(
            dict.fromkeys(("hills", "paddle", "lifting"), (0.2, 1.0)),
            stressors={"cold": (0.1, 1.0)},
            rate_ratios={"dip": 1.5},
            level=4.6,
        )
        folder.learn(whole_posterior(folder.season, known, draws=50))
        return {path.name: path.read_bytes() for path in Path(made).iterdir()}


def fitted(folder: Path) -> Path:
    place = folder / "season"
    place.mkdir()
    for name, content in a_fitted_season().items():
        (place / name).write_bytes(content)
    return place


def of_records() -> Iterator[Broken]:
    texts: list[bytes] = [
        b"", b"{", b"[", b"null", b"1", b'"x"', b"[]", b"{}", b"[1]", b"[[]]", b'{"schema": 1}', b'{"schema": 2}',
        b'{"schema": 1, "events": 3}', b'{"schema": 1, "events": [{}]}', b'{"schema": 1, "events": [{"event": "x"}]}',
        b'{"schema": 1, "events": [{"event": "planned", "trial": -1}]}', b'[{"schema": 1, "season": 3}]',
        DEEP.encode(), b"\xff\xfe", b"\x00" * 100, b'{"schema": ' + b"9" * 10_000 + b"}", b"NaN", b"[Infinity]",
        b'[{"\x1b[31m": 1}]', json.dumps([{ESCAPES: 1}]).encode(), b'{"a": 1, "a": 2}', b"[" * 500 + b"]" * 500,
        json.dumps({"schema": 1, "events": [{"event": "planned", "trial": 1, ESCAPES: ESCAPES}]}).encode(),
    ]  # fmt: skip
    for text in texts:
        shown = repr(text[:30])
        yield of_file("trials.json", shown, "trials.json", text, "trial ledger")

        def planned(folder: Path, text: bytes = text) -> Sequence[object]:
            place = fitted(folder)
            (place / "plans.json").write_bytes(text)
            return ["spacing", place, "--check"]

        yield Broken("plans.json", shown, planned)
    for text in (b"x\n", b"{}\n", b"[]\n", b"3\n", b"null\n", b'{"step": 1}\n', b'{"end": 1}\n', b"\xff\n",
                 b'{"end": [1], "done": false}\n', DEEP.encode() + b"\n", b'{"step": 1, "what": ""'):  # fmt: skip

        def make(folder: Path, text: bytes = text) -> Sequence[object]:
            (folder / "a.csv").write_text("Date,HRV\n2031-01-20,57.6\n2031-01-21,58.6\n")
            place = season(folder, **{".slackwater.journal": text})
            return ["import", folder / "a.csv", place, "--yes"]

        yield Broken("the record of entries", repr(text[:30]), make)


def of_posteriors() -> Iterator[Broken]:
    from slackwater.fitting.sampling.posterior import _sealed

    rng = random.Random(7)
    hdf = b"\x89HDF\r\n\x1a\n"
    for n in range(12):
        noise = bytes(rng.randrange(256) for _ in range(rng.choice([0, 1, 100, 5000])))
        for name, content in {
            "noise": noise, "sealed noise": _sealed(noise), "sealed, begins as HDF5": _sealed(hdf + noise),
        }.items():  # fmt: skip
            yield of_file(
                "posterior.nc", f"{name} {n}", "posterior.nc", content, "recovery", refused=True
            )
    import pickle

    content = _sealed(pickle.dumps(print))
    yield of_file("posterior.nc", "a pickle", "posterior.nc", content, "recovery", refused=True)


NAMES: Final = {
    "readings.csv": "check", "sessions.csv": "check", "types.csv": "check", "season.toml": "check",
    "confirmed.csv": "check", "trials.json": "trial ledger", "plans.json": "spacing",
    "posterior.nc": "recovery",
}  # fmt: skip


def of_places() -> Iterator[Broken]:
    def pipe(path: Path) -> None:
        os.mkfifo(path)

    def link(to: str) -> Callable[[Path], None]:
        return lambda path: path.symlink_to(to)

    kinds: dict[str, Callable[[Path], object]] = {"a folder": Path.mkdir, "a pipe": pipe, "a device": link("/dev/zero"), "a circle": link("loop"),
             "a link to nothing": link("gone"), "a link to a folder": link("/")}  # fmt: skip
    for name, command in NAMES.items():
        for what, put in kinds.items():

            def make(folder: Path, name: str = name, command: str = command,
                     put: Callable[[Path], object] = put) -> Sequence[object]:  # fmt: skip
                place = fitted(folder) if name == "plans.json" else season(folder)
                (place / name).unlink(missing_ok=True)
                (place / "loop").symlink_to("loop")
                put(place / name)
                return [*command.split(), place, *(["--check"] if command == "spacing" else [])]

            yield Broken(
                "what is no plain file",
                f"{name} is {what}",
                make,
                refused=what != "a link to nothing",
            )
    for what, put in kinds.items():

        def give(folder: Path, put: Callable[[Path], object] = put) -> Sequence[object]:
            (folder / "loop").symlink_to("loop")
            put(folder / "a.csv")
            return ["import", folder / "a.csv", folder / "season", "--yes"]

        yield Broken("what is no plain file", f"the file to import is {what}", give, refused=True)
    for command in ("check", "fit", "recovery", "baseline", "forecast", "report", "trial ledger", "history",
                    "washout", "repeats", "explain", "elements"):  # fmt: skip

        def misspelt(folder: Path, command: str = command) -> Sequence[object]:
            season(folder)
            return [*command.split(), folder / "saeson"]

        def a_file(folder: Path, command: str = command) -> Sequence[object]:
            return [*command.split(), season(folder) / "readings.csv"]

        yield Broken("wrong folders", f"{command}: misspelt", misspelt, refused=True)
        yield Broken("wrong folders", f"{command}: a file", a_file, refused=True)
    for name in (ESCAPES, "new\nline", "<script>", "a" * 200, "\udcff", "-x", "$(id)", "'\""):

        def named(folder: Path, name: str = name) -> Sequence[object]:
            place = folder / name.replace("/", "")
            season(folder).rename(place)
            return ["check", "--", place]

        yield Broken("odd names of folders", repr(name)[:30], named)


def of_imports(packed: bool = True) -> Iterator[Broken]:
    rng = random.Random(11)

    def of(kind: str, name: str, file: str, content: bytes, refused: bool = False) -> Broken:
        def make(folder: Path) -> Sequence[object]:
            (folder / file).write_bytes(content)
            return ["import", folder / file, folder / "season", "--yes"]

        return Broken(kind, name, make, refused)

    plain = [e for e in exports() if e.file.endswith(("csv", "txt"))]
    for export in plain:
        for n in range(3):
            content = mutated(export.content, rng)
            yield of("tables to import, damaged bytes", f"{export.name} {n}", export.file, content)
    texts: dict[str, bytes] = {
        "empty": b"", "blanks": b" \n\n", "a NUL": b"date,RMSSD\n2031-01-06,\x00\n", "a page of HTML": b"<html>",
        "noise": bytes(rng.randrange(256) for _ in range(5000)), "a header alone": b"Date,RMSSD\n",
        "no dates": b"a,b\n1,2\n3,4\n", "no readings": b"Date,Mood\n2031-01-06,fine\n", "bars": b"|" * 3000,
        "a megabyte in a cell": b"Date,RMSSD\n2031-01-06," + b"5" * 2**20, "quotes": b'"' * 3001,
        "escapes": f"Date,RMSSD,{ESCAPES}\n2031-01-06,{ESCAPES},x\n".encode(),
        "escapes in labels": f"Date,RMSSD,Training\n2031-01-06,50,{ESCAPES}\n".encode(),
        "a long label": b"Date,Training\n2031-01-06," + b"x" * 300 + b"\n", "a JPEG": b"\xff\xd8\xff\xe0" + bytes(900),
        "a PDF": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(500), "half of UTF-16": "Date\tRMSSD".encode("utf-16")[:-1],
        "300,000 rows": b"Date,RMSSD\n" + b"2031-01-06,50\n" * 300_000, "70 MiB": bytes(70 * 2**20),
        "formulas": b"Date,RMSSD,Training\n2031-01-06,50,=HYPERLINK(1)\n", "sep alone": b"sep=;\n",
    }  # fmt: skip
    for name, content in texts.items():
        refused = name not in ("escapes", "formulas")
        yield of("tables to import, whole", name, "a.csv", content, refused)
    if not packed:
        return
    for export in exports():
        if export.file.endswith(("xlsx", "ods", "parquet")):
            for n in range(3):
                content = mutated(export.content, rng)
                yield of("spreadsheets, damaged bytes", f"{export.name} {n}", export.file, content)
    for name, content in {
        "a zip of nothing": zipped({}), "a zip of a text": zipped({"a.txt": b"x"}), "a cut zip": b"PK\x03\x04",
        "a bomb": zipped({"xl/worksheets/sheet1.xml": bytes(600 * 2**20)}), "an old container": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
        "cells a million columns apart": far_apart(), "Parquet's mark alone": b"PAR1", "Parquet of nothing": b"PAR1" * 9,
    }.items():  # fmt: skip
        yield of("spreadsheets, hostile", name, "a.xlsx", content, refused=True)
    yield of(
        "spreadsheets, hostile", "doublings, which are left as they stand", "a.xlsx", entities()
    )


def zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return out.getvalue()


def rewritten(change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook whose first sheet was changed."""
    book = next(e for e in exports() if e.file == "plain.xlsx").content
    with zipfile.ZipFile(io.BytesIO(book)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    parts["xl/worksheets/sheet1.xml"] = change(parts["xl/worksheets/sheet1.xml"])
    return zipped(parts)


def far_apart() -> bytes:
    cell = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    return rewritten(lambda sheet: sheet.replace(b"</sheetData>", cell))


def entities() -> bytes:
    """Return a workbook that is made of its own doublings ("billion laughs")."""
    more = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    doctype = f'<!DOCTYPE x [<!ENTITY a0 "1">{more}]>'.encode()
    value = b"<sheetData><row><c><v>&a9;</v></c></row>"
    return rewritten(lambda sheet: doctype + sheet.replace(b"<sheetData>", value))


def corpus(packed: bool = True) -> list[Broken]:
    """Return all broken inputs; those that are read in a process of their own where asked."""
    return [
        *of_season_files(), *of_settings(), *of_records(), *of_posteriors(), *of_places(),
        *of_imports(packed),
    ]  # fmt: skip


def state(folder: Path) -> dict[str, object]:
    """Return every plain file of a folder, for comparing."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink() and ".lock" not in path.name
    }


def faults(broken: Broken, folder: Path) -> tuple[Ran | None, list[str]]:
    """Return what a broken input came to, and all that is wrong with that."""
    command = broken.make(folder)
    before = state(folder)
    started = time.monotonic()
    try:
        ran = run(*command)
    except BaseException as error:
        return None, [f"traceback: {type(error).__name__}: {str(error)[:200]}"]
    wrong = []
    if time.monotonic() - started > SLOW:
        wrong.append(f"{time.monotonic() - started:.0f} s")
    if ran.status not in (0, 1, 2) or (broken.refused and ran.status == 0):
        wrong.append(f"status {ran.status}")
    if ran.status and state(folder) != before:
        wrong.append("a file was changed")
    said = ran.out + ran.err
    if UNFIT.search(said):
        wrong.append("more than text on the terminal")
    if "Traceback" in said or "panicked" in said:
        wrong.append("traceback on the terminal")
    placed = any(map(PLACE.match, ran.err.splitlines())) or RECORD.search(ran.err)
    if ran.status == 2 and not placed:
        wrong.append(f"no place or mend: {ran.err[:200]!r}")
    if ran.status and not ran.err.strip():
        wrong.append("refused without a word")
    return ran, wrong


def main() -> None:
    counts: Counter[tuple[str, str]] = Counter()
    bad = []
    for broken in corpus():
        with tempfile.TemporaryDirectory() as made:
            ran, wrong = faults(broken, Path(made))
        outcome = (
            {0: "read", 1: "asked or no answer", 2: "refused"}.get(ran.status, "?")
            if ran
            else "traceback"
        )
        counts[broken.kind, outcome] += 1
        bad += [f"{broken.kind}: {broken.name}: {fault}" for fault in wrong]
    kinds = dict.fromkeys(kind for kind, _ in counts)
    outcomes = ["refused", "asked or no answer", "read", "traceback"]
    print(f"{'kind':36}" + "".join(f"{o:>20}" for o in outcomes))
    for kind in kinds:
        print(f"{kind:36}" + "".join(f"{counts[kind, o]:20}" for o in outcomes))
    print(f"{'all':36}" + "".join(f"{sum(counts[k, o] for k in kinds):20}" for o in outcomes))
    print("\n".join([f"{len(bad)} faults", *bad]))


if __name__ == "__main__":
    main()
