"""JSON where an answer is not known, or refused, and of `check`."""

from __future__ import annotations

import json
from pathlib import Path

from slackwater.fitting import recovery
from slackwater.fitting.report.as_json import as_json, as_object
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.conftest import Fitted, run

APART = [(day, "row") for day in range(0, 20, 5)] + [(day, "swim") for day in range(2, 20, 5)]
KNOWN = Known({"row": (0.2, 1.0), "swim": (0.3, 50.0)})


def test_days_beyond_those_shown_are_null() -> None:
    answer = as_object(recovery(by_hand.standing_of(by_hand.season(30, APART), KNOWN)))
    row, swim = answer["types"]
    assert swim["days_for_chance"] == {"0.5": None, "0.8": None, "0.9": None}
    assert None not in row["days_for_chance"].values()


def test_refused_types_are_listed_with_the_reason() -> None:
    together = [(day, kind) for day in (3, 9, 15) for kind in ("row", "lift")]
    known = Known({**KNOWN.types, "lift": (0.1, 1.0)})
    season = by_hand.season(30, [*together, (20, "swim")])
    answer = as_object(recovery(by_hand.standing_of(season, known)))
    assert [row["type"] for row in answer["types"]] == ["swim"]
    assert {row["type"] for row in answer["refused"]} == {"row", "lift"}
    assert all("always trained on the same days" in row["why"] for row in answer["refused"])


def test_numbers_are_not_rounded() -> None:
    dataset = recovery(by_hand.standing_of(by_hand.season(30, APART), KNOWN))
    answer = json.loads(as_json(dataset))
    for row in answer["types"]:
        found = dataset["next_session_days"].sel(type=row["type"])
        for bound in ("low", "median", "high"):
            assert row["next_session_days"][bound] == float(found.sel(bound=bound))


def test_json_is_ascii_so_that_no_pipe_spoils_it() -> None:
    season = by_hand.season(30, [(3, "Ruderübung 😀")])
    answer = as_json(recovery(by_hand.standing_of(season, Known({"Ruderübung 😀": (0.2, 1.0)}))))
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
    assert len(found["warnings"]) == 2
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
