"""What the page says: the order of its questions, its numbers, its words where it cannot say."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import Athlete, forecast
from slackwater.fitting.answers.intervals import BOUND
from slackwater.fitting.questions import ask_for_report, report_layout
from slackwater.fitting.report import words
from slackwater.fitting.report.asked import Asked
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.page.page import page, part_html, sections
from slackwater.fitting.report.page.part import Part, named
from slackwater.fitting.report.page.parts_reading import how_to_read
from slackwater.fitting.report.reasons import told as told_of
from slackwater.fitting.state.ahead import look_ahead
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted
from tests.fitting.report.page.renamed import ODD

ORDER = [
    "today", "plan", "tomorrow", "coming", "recovery", "chances", "explain", "elements", "measures",
    "tested", "history", "worth", "described", "by-weekday", "after-sessions", "caution",
]  # fmt: skip


@pytest.fixture(scope="module")
def parts(asked: Asked) -> dict[str, Part]:
    return {part.id: part for section in sections(asked, report_layout()) for part in section.parts}


def words_of(part: Part) -> str:
    """Return all that a part says, with a plain minus."""
    cells = [cell for row in (part.table.rows if part.table else ()) for cell in row]
    said = [*part.sentences, part.picture_text, *part.notes, *cells]
    return "\n".join(said).replace("\N{MINUS SIGN}", "-")


def test_questions_come_in_the_order_in_which_a_reader_asks_them(parts: dict[str, Part]) -> None:
    assert [id for id in parts if not id.startswith("measure-")] == ORDER


def test_every_picture_has_a_text_with_numbers(parts: dict[str, Part]) -> None:
    pictured = [part for part in parts.values() if part.picture]
    assert len(pictured) == 13
    assert all(len(re.findall(r"\d+", part.picture_text)) >= 6 for part in pictured)


def test_a_part_can_be_shown_by_itself(parts: dict[str, Part]) -> None:
    shown = part_html(parts["recovery"])
    assert shown.count("<svg") == 2
    assert "<html" not in shown


def test_the_page_shows_the_numbers_of_the_answers(asked: Asked, parts: dict[str, Part]) -> None:
    """Each interval of the JSON, said in the words of the terminal, stands in its part."""
    recovered = asked.answers["recovery"].types
    said = words_of(parts["recovery"])
    for label in recovered[n.TYPE].values:
        row = recovered.sel({n.TYPE: label})
        for shown in (
            f"{label}: plan with {int(row['days_for_chance'].sel(chance=0.8))} day",
            words.tight_dip(row["dip_ln"]),
            words.tight(row["typical_days"]),
            words.tight(row["next_session_days"]),
        ):
            assert shown in said
    coming = asked.answers["forecast"]
    for night in range(4):
        row = coming.nights.isel({n.NIGHT: night})
        assert words.milliseconds(row["state_ms"]) in words_of(parts["coming"])
        assert words.milliseconds(row["rmssd_ms"]) in words_of(parts["tomorrow"])
    for name in ("river dip", "beet juice"):
        answer = asked.answers[f"compare intervention {name}"]
        said = words_of(parts["measures"])
        assert (
            f"{name}: Cannot tell yet: recovery is {words.rate_change(answer.rate_ratio)}" in said
        )
        assert f"measure-{name.encode().hex()}" not in parts  # no days of what nobody can tell


def test_chances_in_words_are_those_of_the_json(asked: Asked, parts: dict[str, Part]) -> None:
    for row in as_object(asked.answers["recovery"])["types"]:
        by_day = dict(row["chance_by_day"])
        line = next(s for s in parts["recovery"].sentences if s.startswith(row["type"]))
        by = int(re.findall(r"plan with (\d+) days?,", line)[0])
        assert by == row["days_for_chance"]["0.8"]
        assert by_day[by] >= 0.8
        told = re.search(rf"{row['type']}: (day 1 .*?)\.", parts["chances"].picture_text)
        assert told is not None
        shown = [piece.split(" ", 2)[2] for piece in told[1].split(", ")]
        assert shown == [words.chance(by_day[day]) for day in list(by_day)[:10]]


def test_a_season_without_sessions_gets_a_page_that_says_what_is_missing() -> None:
    season = by_hand.season(40)
    everything = ask_for_report(Athlete(season, whole_posterior(season, Known(level=4.1))), 0.8)
    told = page(everything, report_layout())
    assert "Log sessions in sessions.csv" in told
    assert {"recovery", "elements", "trial ledger", "spacing check"} <= set(everything.refused)
    shown = {
        part.id: part for section in sections(everything, report_layout()) for part in section.parts
    }
    assert shown["today"].picture is not None
    assert shown["recovery"].sentences == (told_of(everything.refused["recovery"]),)
    for part in shown.values():
        assert any(part.sentences)


def test_a_measure_that_is_refused_says_why_beside_the_others(asked: Asked) -> None:
    question = "compare intervention beet juice"
    answers = {q: answer for q, answer in asked.answers.items() if q != question}
    refused = {**asked.refused, question: NoAnswerError(Reason("on trial", measure="beet juice"))}
    shown = {
        p.id: p
        for section in sections(Asked(answers, refused), report_layout())
        for p in section.parts
    }
    assert any(
        sentence.startswith("beet juice: no answer. The trial of 'beet juice' is under way")
        for sentence in shown["measures"].sentences
    )
    assert any(sentence.startswith("river dip: ") for sentence in shown["measures"].sentences)
    assert b"beet juice".hex() not in "".join(shown)


def test_warnings_of_every_answer_stand_once_at_the_top(asked: Asked) -> None:
    limps = Reason("chains disagree", rhat=1.02)
    warned = {
        question: replace(
            answer, about=replace(answer.about, warnings=(limps, *answer.about.warnings))
        )
        for question, answer in asked.answers.items()
    }
    told = page(Asked(warned, asked.refused), report_layout())
    assert told.count("by 1.020") == 1
    assert told.index("by 1.020") < told.index('id="tomorrow"')


def test_ranges_and_likely_are_at_the_level_asked_for(demo: Fitted) -> None:
    everything = ask_for_report(Athlete(demo.season, demo.posterior), 0.5)
    assert {answer.about.level for answer in everything.answers.values()} == {0.5}
    assert "holds 5 times in 10" in how_to_read(0.5).sentences[0]


def test_odd_names_stand_on_the_page_as_they_are(odd: Path) -> None:
    told = (odd / "report.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;window.ran = 1&lt;/script&gt;" in told
    assert "<script" not in told
    assert "{{ 7 * 7 }} $x^2$" in told  # neither a template's nor a formula
    assert f"\u2068{ODD['row intervals']}\u2069: " in told
    assert "#010101 id=&#34;x&#34; 3.14159" in told  # the colour marks of pictures are not names


def test_a_name_is_one_line_and_right_to_left_ones_stand_apart() -> None:
    assert named("hill\n run\t2") == "hill run 2"
    assert named("مشي") == "\u2068مشي\u2069"


def test_a_part_has_no_field_that_no_page_shows() -> None:
    shown = (Path(__file__).parents[4] / "fitting/report/page/templates").glob("*.j2")
    text = "".join(path.read_text(encoding="utf-8") for path in shown)
    for field in fields(Part):
        assert re.search(rf"\b(part|first)\.{field.name}\b", text)


def test_forecast_of_the_state_is_narrower_than_of_the_reading(demo_athlete: Athlete) -> None:
    answer = forecast(demo_athlete, nights=5).nights
    width = {
        name: answer[name].sel({BOUND: "high"}) - answer[name].sel({BOUND: "low"})
        for name in ("state_ms", "rmssd_ms")
    }
    assert (width["state_ms"] < width["rmssd_ms"]).all()
    middle = answer.sel({BOUND: "median"})
    of_days = np.exp(np.median(look_ahead(demo_athlete.now, 5, []).shift, axis=0))
    assert np.allclose(of_days * middle["state_ms"], middle["rmssd_ms"], rtol=0.02)


def test_the_dip_left_crosses_the_threshold_with_the_days_to_recover() -> None:
    season = by_hand.season(30, [(day, "row") for day in range(0, 20, 5)])
    known = Known({"row": (0.4, 2.0)}, noise_sd=0.1)
    asked = ask_for_report(Athlete(season, whole_posterior(season, known)), 0.8)
    answer = asked.answers["recovery"].types
    left = answer["dip_left_by_day_ln"].sel({n.TYPE: "row", BOUND: "median"})
    # One half-life is 2 days: 0.4 on day 1, half of it on day 3; under 0.05 from day 7 on.
    assert left.sel(day=[1, 3, 5, 7]).values == pytest.approx([0.4, 0.2, 0.1, 0.05])
    assert float(answer["typical_days"].sel({n.TYPE: "row", BOUND: "median"})) == pytest.approx(7)
