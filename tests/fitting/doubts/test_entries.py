"""Thirty wrong entries are caught, but for two that nobody can tell; right ones hardly ever."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Final

import pytest

from slackwater.fitting.doubts.entries import confirmation_of, doubts_among, doubts_of, entry_of
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import (
    CellError,
    ConfirmedRow,
    DayRow,
    ReadingRow,
    Row,
    SessionRow,
    TypeRow,
)
from slackwater.fitting.report.reasons.doubts import told_of
from slackwater.model.errors import Reason
from tests.fitting.doubts.entries import TODAY, WRONG, Wrong
from tests.fitting.doubts.typed import KINDS, demo_rows, drawn_season, row_of

HEADERS: Final = {
    "readings": ("date", "rmssd_ms", "sensor"),
    "sessions": ("date", "type", "dose"),
    "interventions": ("date", "intervention"),
    "stressors": ("date", "stressor"),
}
NOBODY_CAN_TELL: Final = {"56 for 65", "heart rate"}
# Refused by the files' own rules, before anything is doubted.
REFUSED: Final = {"ms as ln", "dose of zero", "dose below zero"}
PAGES: Final = {w.name: w for w in WRONG}


def asked_of(wrong: Wrong) -> list[Reason]:
    row = row_of(wrong.file, dict(zip(HEADERS[wrong.file], wrong.line.split(","), strict=False)))
    return doubts_of(row, History(demo_rows()), today=wrong.today)


def test_there_are_thirty_of_which_two_cannot_be_told() -> None:
    assert len(WRONG) == len(PAGES) == 30
    assert {*PAGES} >= NOBODY_CAN_TELL | REFUSED


@pytest.mark.parametrize("wrong", [w for w in WRONG if w.name not in REFUSED], ids=lambda w: w.name)
def test_a_wrong_entry_is_asked_about_with_its_mend(wrong: Wrong) -> None:
    reasons = asked_of(wrong)
    if wrong.name in NOBODY_CAN_TELL:
        assert reasons == []
        return
    assert any(wrong.mend in " ".join(told_of(reason)) for reason in reasons), reasons


@pytest.mark.parametrize("name", ["dose of zero", "dose below zero"])
def test_what_no_cell_may_hold_is_refused(name: str) -> None:
    with pytest.raises(CellError, match=PAGES[name].mend):
        asked_of(PAGES[name])


def replayed(rows: Iterable[Row]) -> Iterator[tuple[DayRow, list[Reason]]]:
    """Let rows come in one by one, each on its day; yield what is asked about each."""
    history = History()
    for row in rows:
        if isinstance(row, DayRow):
            yield row, doubts_of(row, history, today=row.date)
        history.add(row)


def test_no_right_entry_of_the_demo_season_is_asked_about_as_it_came() -> None:
    asked = [(row, reasons) for row, reasons in replayed(demo_rows())]
    assert len(asked) == 420
    assert [each for each in asked if each[1]] == []


def test_no_right_entry_of_the_demo_season_is_asked_about_in_its_files() -> None:
    rows = demo_rows()
    history = History(rows)
    for kind in KINDS.values():
        assert doubts_among([row for row in rows if type(row) is kind], history) == []


def test_of_right_entries_of_other_seasons_less_than_one_in_a_hundred_is_asked_about() -> None:
    """20 athletes drawn from the model's priors, as their entries come in."""
    asked, count = [], 0
    for seed in range(20):
        for row, reasons in replayed(drawn_season(seed)):
            count += 1
            asked += [(seed, row, reasons)] if reasons else []
    assert count > 20 * 200
    assert len(asked) < count / 100, asked


def test_many_are_judged_in_no_time_and_each_by_all_others() -> None:
    rows = [r for r in demo_rows() if isinstance(r, ReadingRow)]
    slip = ReadingRow(rows[3].date, rmssd_ms=10 * (rows[3].rmssd_ms or 0), sensor=rows[3].sensor)
    rows[3] = slip  # a third reading that is a slip is known for one once there are others
    assert [(d.place, d.reason.code) for d in doubts_among(rows, History(rows))] == [
        (3, "unlikely reading")
    ]


def test_a_confirmed_entry_is_not_asked_about_again() -> None:
    rows = [r for r in demo_rows() if isinstance(r, SessionRow)]
    rows += [SessionRow(TODAY, "Hill Run", 60.0), SessionRow(TODAY, "hill runs", 1.0)]
    history = History(rows)
    asked = doubts_among(rows, history)
    codes = ["nearly a known name", "unlikely dose"]
    assert [d.reason.code for d in asked] == [*codes, codes[0]]
    right = [confirmation_of(rows[-2])]
    assert right == [ConfirmedRow(TODAY, "session Hill Run, dose 60")]
    assert [d.row for d in doubts_among(rows, history, confirmed=right)] == [rows[-1]]
    mended = SessionRow(TODAY, "Hill Run", 61.0)  # not what was confirmed
    again = doubts_of(mended, History(rows[:-2]), today=TODAY, confirmed=right)
    assert [r.code for r in again] == codes


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (ReadingRow(TODAY, rmssd_ms=66.0), "reading 66 ms"),
        (ReadingRow(TODAY, rmssd_ms=66.25, sensor="strap", note="x"), "reading 66.25 ms, strap"),
        (ReadingRow(TODAY, ln_rmssd=4.19), "reading 66.023 ms"),
        (SessionRow(TODAY, "hill run", 0.5, "x"), "session hill run, dose 0.5"),
    ],
)
def test_an_entry_is_known_by_what_it_says(row: DayRow, said: str) -> None:
    assert entry_of(row) == said


def test_a_type_that_is_described_is_no_slip() -> None:
    known = [TypeRow("hill run"), TypeRow("hill runs"), SessionRow(TODAY, "hill run")]
    assert doubts_of(SessionRow(TODAY, "hill runs"), History(known), today=TODAY) == []


def test_a_first_entry_is_held_against_general_experience() -> None:
    """Healthy adults: 19 to 75 ms (Nunan, Sandercock and Brodie 2010, PACE 33:1407-1417)."""
    for ms in (19.0, 42.0, 75.0, 160.0):
        assert doubts_of(ReadingRow(TODAY, rmssd_ms=ms), History(), today=TODAY) == []
    for ms in (4.2, 660.0, 0.066):
        (reason,) = doubts_of(ReadingRow(TODAY, rmssd_ms=ms), History(), today=TODAY)
        assert reason.facts["basis"] == "general experience"
        assert math.isclose(reason.facts["expected_ms"], math.exp(3.9))


def test_among_very_many_doses_a_wrong_one_is_found_as_well() -> None:
    rows = [SessionRow(TODAY, "hill run", (0.7, 1.1, 1.3)[n % 3]) for n in range(3000)]
    rows.append(SessionRow(TODAY, "hill run", 13.0))
    found = [doubt for doubt in doubts_among(rows, History(rows)) if "dose" in doubt.reason.code]
    assert [(doubt.place, doubt.reason.facts["meant"]) for doubt in found] == [(3000, 1.3)]
