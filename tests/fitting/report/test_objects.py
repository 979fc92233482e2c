"""JSON: an answer's own fields under their names, by a few rules; and that of `check`."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import xarray as xr

from slackwater.fitting import recovery
from slackwater.fitting.answers.answer import About, Answer
from slackwater.fitting.answers.intervals import BOUND, BOUNDS, WHOLE_DAYS, Interval, intervals
from slackwater.fitting.report.objects import as_json, as_object, plain
from slackwater.model.errors import Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.conftest import Fitted, run

APART = [(day, "row") for day in range(0, 20, 5)] + [(day, "swim") for day in range(2, 20, 5)]
KNOWN = Known({"row": (0.2, 1.0), "swim": (0.3, 50.0)})
THIN = Reason("trained a few times", type="row", sessions=3)
SAID = (
    "'row' was trained 3 times only: its answer leans on the other types and on general experience."
)
NAN = float("nan")


class Pair(NamedTuple):
    name: str
    found: Interval


@dataclass(frozen=True)
class Row:
    date: dt.date
    from_: float
    inner: tuple[Pair, ...] = ()
    why: Reason | None = None


@dataclass(frozen=True)
class HandMade(Answer):
    found: Interval
    rows: tuple[Row, ...]
    is_: bool = True


def about(*warnings: Reason) -> About:
    return About("spring", np.datetime64("2031-03-30"), 0.8, warnings)


def test_what_an_answer_is_about_comes_first_and_then_its_fields() -> None:
    rows = (Row(dt.date(2031, 3, 1), NAN, (Pair("a", Interval(1, 2, NAN)),), THIN),)
    found = as_object(HandMade(about(THIN), Interval(1.0, 2.0, 3.0), rows))
    assert list(found)[:6] == ["schema", "season", "last_night", "level", "warnings", "reasons"]
    assert found == {
        "schema": 1,
        "season": "spring",
        "last_night": "2031-03-30",
        "level": 0.8,
        "warnings": [SAID],
        "reasons": [{"code": "trained a few times", "type": "row", "sessions": 3}],
        "found": {"median": 2.0, "low": 1.0, "high": 3.0},
        "rows": [
            {
                "date": "2031-03-01",
                "from": None,
                "inner": [{"name": "a", "found": {"median": 2, "low": 1, "high": None}}],
                "why": SAID,
            }
        ],
        "is": True,
    }


def test_the_text_is_one_object_with_what_is_added_at_its_end() -> None:
    answer = HandMade(about(), Interval(NAN, NAN, NAN), ())
    told = json.loads(as_json(answer, {"next": {"stage": "fit"}}))
    assert list(told)[-1] == "next"
    assert told["next"] == {"stage": "fit"}
    assert told["found"] == {"median": None, "low": None, "high": None}


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        (True, True),
        (3, 3),
        (0.1, 0.1),
        (NAN, None),
        (float("inf"), None),
        (float("-inf"), None),
        ("text", "text"),
        (np.float64(0.1), 0.1),
        (np.float64("nan"), None),
        (np.int64(3), 3),
        (np.bool_(False), False),
        (np.str_("text"), "text"),
        (np.datetime64("2031-03-01"), "2031-03-01"),
        (np.datetime64("2031-03-01", "ns"), "2031-03-01"),
        (np.datetime64("NaT", "D"), None),
        (dt.date(2031, 3, 1), "2031-03-01"),
        (THIN, SAID),
        (Interval(1.0, 2.0, 3.0), {"median": 2.0, "low": 1.0, "high": 3.0}),
        ({"a": (1, NAN), 2: {"b": np.float64(3)}}, {"a": [1, None], "2": {"b": 3.0}}),
        ((), []),
        ([("x", np.int64(1))], [["x", 1]]),
        (np.array([1.5, np.nan]), [1.5, None]),
        (xr.DataArray(2.5), 2.5),
        (xr.DataArray(NAN), None),
        (xr.DataArray([1.0, 2.0], dims="x"), [1.0, 2.0]),
        (xr.DataArray([1.0, 2.0, 3.0], dims=BOUND), {"median": 2.0, "low": 1.0, "high": 3.0}),
    ],
)
def test_values_become_plain(value: Any, expected: Any) -> None:
    found = plain(value)
    assert found == expected
    assert type(found) is type(expected)
    assert json.loads(json.dumps(found, allow_nan=False)) == expected


def test_a_table_becomes_rows_called_by_their_label() -> None:
    bounds = np.array([[1.0, 2.0, 3.0], [NAN, NAN, NAN]])
    table = xr.Dataset(
        {
            "sessions": ("type", [3, 4]),
            "share": ("type", [0.5, NAN]),
            "name": ("type", ["A", "B"]),
            "days": (("type", BOUND), bounds),
            "by_day": (("type", "day"), [[0.1, 0.2], [0.3, NAN]]),
            "for_chance": (("type", "chance"), [[2.0, 3.0], [4.0, NAN]], {"units": WHOLE_DAYS}),
            "left": (("type", "day", BOUND), np.stack([bounds, bounds])),
        },
        coords={"type": ["row", "lift"], "day": [1, 2], "chance": [0.5, 0.8], BOUND: list(BOUNDS)},
    )
    first, second = plain(table)
    known, unknown = (
        {"median": 2.0, "low": 1.0, "high": 3.0},
        {"median": None, "low": None, "high": None},
    )
    assert first == {
        "type": "row",
        "sessions": 3,
        "share": 0.5,
        "name": "A",
        "days": known,
        "by_day": [[1, 0.1], [2, 0.2]],
        "for_chance": {"0.5": 2, "0.8": 3},
        "left": [[1, known], [2, unknown]],
    }
    assert next(iter(first)) == "type"
    assert second["days"] == unknown
    assert second["share"] is None
    assert second["by_day"] == [[1, 0.3], [2, None]]
    assert second["for_chance"] == {"0.5": 4, "0.8": None}
    assert type(first["for_chance"]["0.5"]) is type(first["sessions"]) is int


def test_a_night_is_called_by_its_date() -> None:
    nights = np.array(["2031-03-01", "2031-03-02"], "datetime64[ns]")
    table = xr.Dataset(
        {"ln_mean": ("night", [4.0, 4.1]), "since": ("night", nights[::-1])}, {"night": nights}
    )
    assert plain(table) == [
        {"date": "2031-03-01", "ln_mean": 4.0, "since": "2031-03-02"},
        {"date": "2031-03-02", "ln_mean": 4.1, "since": "2031-03-01"},
    ]


def test_rows_without_a_label_are_called_by_nothing() -> None:
    table = xr.Dataset({"a": ("row", ["x", "y"]), "b": ("row", np.array(["z", None], object))})
    assert plain(table) == [{"a": "x", "b": "z"}, {"a": "y", "b": None}]


def test_intervals_of_several_things_are_a_row_each() -> None:
    draws = np.array([[1.0, 5.0], [2.0, 6.0], [3.0, 7.0]])
    saved = intervals(draws, 0.5, ("type",)).assign_coords({"type": ["row", "lift"]})
    assert plain(saved) == [
        {"type": "row", "median": 2.0, "low": 1.5, "high": 2.5},
        {"type": "lift", "median": 6.0, "low": 5.5, "high": 6.5},
    ]


def test_an_empty_table_has_no_rows() -> None:
    assert plain(xr.Dataset({"a": ("type", [])}, {"type": []})) == []


def test_days_beyond_those_shown_are_null() -> None:
    answer = as_object(recovery(by_hand.athlete_of(by_hand.season(30, APART), KNOWN)))
    row, swim = answer["types"]
    assert swim["days_for_chance"] == {"0.5": None, "0.8": None, "0.9": None}
    assert None not in row["days_for_chance"].values()


def test_refused_types_are_listed_with_the_reason() -> None:
    together = [(day, kind) for day in (3, 9, 15) for kind in ("row", "lift")]
    known = Known({**KNOWN.types, "lift": (0.1, 1.0)})
    season = by_hand.season(30, [*together, (20, "swim")])
    answer = as_object(recovery(by_hand.athlete_of(season, known)))
    assert [row["type"] for row in answer["types"]] == ["swim"]
    assert {row["type"] for row in answer["refused"]} == {"row", "lift"}
    assert all("always trained on the same days" in row["why"] for row in answer["refused"])


def test_numbers_are_not_rounded() -> None:
    asked = recovery(by_hand.athlete_of(by_hand.season(30, APART), KNOWN))
    answer = json.loads(as_json(asked))
    for row in answer["types"]:
        found = asked.types["next_session_days"].sel(type=row["type"])
        for bound in ("low", "median", "high"):
            assert row["next_session_days"][bound] == float(found.sel(bound=bound))


def test_json_is_ascii_so_that_no_pipe_spoils_it() -> None:
    season = by_hand.season(30, [(3, "Ruderübung 😀")])
    answer = as_json(recovery(by_hand.athlete_of(season, Known({"Ruderübung 😀": (0.2, 1.0)}))))
    assert answer.isascii()
    assert json.loads(answer)["types"][0]["type"] == "Ruderübung 😀"


def test_check_as_json(demo: Fitted) -> None:
    ran = run("check", demo.folder, "--json")
    assert (ran.status, ran.err) == (0, "")
    found = json.loads(ran.out)
    assert found["schema"] == 1
    assert found["season"] == "demo"
    assert (found["first_night"], found["last_night"]) == ("2031-01-06", "2031-07-06")
    assert found["readings"] == 171
    assert found["sessions_by_type"]["hill run"] == 15
    assert sum(found["sessions_by_type"].values()) == 78
    assert len(found["warnings"]) == 3
    assert found["warnings"][2].startswith("Nothing is logged from Wednesday 19 March to Friday 21")
    assert found["problems"] == []


def test_check_as_json_names_every_problem(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-03-01,60\n2031-03-02,-1\n")
    ran = run("check", tmp_path, "--json")
    assert ran.status == 2
    found = json.loads(ran.out)
    assert found["season"] is None
    [problem] = found["problems"]
    assert (problem["file"], problem["line"], problem["column"]) == ("readings.csv", 3, 2)
    assert ran.err == "readings.csv:3:2: {what}; {mend}\n".format(**problem)
