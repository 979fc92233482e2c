"""How often right entries are asked about, and which wrong ones are caught.

    python -m tests.studies.doubts

Seasons made apart from the model (of many kinds) and athletes drawn from its priors come in row by
row, each judged by the rows before it; and the thirty wrong entries of the demo season. Written
into docs/calibration/doubts.md.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Final

from slackwater.fitting.doubts.entries import doubts_among, doubts_of
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import CellError, DayRow, ReadingRow, Row, TypeRow
from slackwater.fitting.report.reasons.doubts import told_of
from slackwater.model.errors import Reason
from tests.fitting.doubts.entries import WRONG, Wrong
from tests.fitting.doubts.typed import KINDS, demo_rows, drawn_season, made_rows, row_of
from tests.studies.generator import make
from tests.studies.kinds import KINDS as MADE_KINDS

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "doubts.md"
MADE_SEEDS: Final = range(500, 504)
DRAWN_SEEDS: Final = range(500, 600)
HEADERS: Final = {
    "readings": ("date", "rmssd_ms", "sensor"),
    "sessions": ("date", "type", "dose"),
    "interventions": ("date", "intervention"),
    "stressors": ("date", "stressor"),
}
LEAD: Final = """# Doubtful entries

Written by `python -m tests.studies.doubts`. Right entries come in row by row, as they were logged,
each judged by the rows before it (as they come) and by all others of its file (as `check` judges).
The rules were fixed before these seasons were drawn.

"""


def replayed(rows: Sequence[Row]) -> Iterator[tuple[DayRow, list[Reason]]]:
    """Let rows come in one by one, each on its day; yield what is asked about each."""
    history = History(row for row in rows if isinstance(row, TypeRow))
    for row in rows:
        if isinstance(row, DayRow):
            yield row, doubts_of(row, history, today=row.date)
            history.add(row)


def asked_in_files(rows: Sequence[Row]) -> int:
    """Return how many rows are asked about once all are there."""
    history = History(rows)
    files = [[row for row in rows if type(row) is kind] for kind in KINDS.values()]
    return sum(len({doubt.place for doubt in doubts_among(its, history)}) for its in files)


def right_entries() -> Iterator[str]:
    """Yield the table of right entries that were asked about."""
    kinds: dict[str, Sequence[Callable[[], Sequence[Row]]]] = {"the demo season": [demo_rows]}
    for kind in MADE_KINDS:
        kinds[f"made apart: {kind}"] = [partial(_made, kind, seed) for seed in MADE_SEEDS]
    kinds["athletes drawn from the priors"] = [partial(drawn_season, s) for s in DRAWN_SEEDS]
    yield "| seasons | how many | entries | readings | asked as they came | asked in their files |"
    yield "| --- | --- | --- | --- | --- | --- |"
    total: Counter[str] = Counter()
    for name, seasons in kinds.items():
        count: Counter[str] = Counter(seasons=len(seasons))
        for season in seasons:
            rows = season()
            for row, reasons in replayed(rows):
                count["entries"] += 1
                count["readings"] += isinstance(row, ReadingRow)
                count["asked"] += bool(reasons)
            count["in files"] += asked_in_files(rows)
        total += count
        yield _line(name, count)
    yield _line("all", total)
    share = 100 * total["asked"] / total["entries"]
    yield f"\nOf all right entries {share:.2f} % were asked about as they came."


def wrong_entries() -> Iterator[str]:
    """Yield the table of the thirty wrong entries."""
    yield "| wrong entry | row | what is said |"
    yield "| --- | --- | --- |"
    caught = 0
    for wrong in WRONG:
        said = _said_of(wrong)
        caught += bool(said)
        yield f"| {wrong.name} | `{wrong.line}` | {said or '*taken: it may well be right*'} |"
    yield f"\n{caught} of {len(WRONG)} are caught."


def _said_of(wrong: Wrong) -> str:
    if wrong.ln:  # a file of logarithms has a bound of its own, which `check` holds it to
        return "refused: over 1,000 ms; give the natural logarithm of the milliseconds"
    cells = dict(zip(HEADERS[wrong.file], wrong.line.split(","), strict=False))
    try:
        row = row_of(wrong.file, cells)
    except CellError as error:
        return f"refused: {error}"
    reasons = doubts_of(row, History(demo_rows()), today=wrong.today)
    return "; ".join("; ".join(told_of(reason)) for reason in reasons)


def _made(kind: str, seed: int) -> list[DayRow]:
    return made_rows(make(kind, seed).tables)


def _line(name: str, count: Counter[str]) -> str:
    numbers = [count[key] for key in ("seasons", "entries", "readings", "asked", "in files")]
    return f"| {name} | {' | '.join(f'{number:,}' for number in numbers)} |"


def main() -> None:
    """Run the study and write its page."""
    parts = ["## Right entries", *right_entries(), "", "## Wrong entries", "", *wrong_entries()]
    parts.insert(1, "")
    PAGE.write_text(LEAD + "\n".join(parts) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
