"""Attribute values against each other: differences, what cannot be separated, the picture."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from rich.console import Console, Group

from slackwater.fitting import Athlete, compare_attribute, elements
from slackwater.fitting.answers.elements import Contrast, Elements
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.report.terminal.elements import picture, text
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import CHAINS, Known
from tests.fitting.conftest import Fitted, run

# The threshold is 0.05 ln: days are 1 + half-life * log2(dip / 0.05).
TYPES = {
    "paddle": (0.05, 1.0),  # 1 day
    "row": (0.2, 1.0),  # 3 days
    "lift": (0.4, 2.0),  # 7 days
    "run": (0.2, 2.0),  # 5 days
}
ATTRIBUTES = {
    "paddle": {"mode": "row", "effort": "easy"},
    "row": {"mode": "row", "effort": "hard"},
    "lift": {"mode": "lift", "effort": "hard"},
    "run": {"mode": "run", "effort": "easy"},
}
SESSIONS = [(2 * i, kind) for i, kind in enumerate(["paddle", "row", "row", "lift", "run"] * 3)]


def trained_in(
    attributes: dict[str, dict[str, str]] | None = None,
    sessions: by_hand.Dated = SESSIONS,
    types: Any = None,
) -> Athlete:
    done = {label for _, label in sessions}
    known = Known({t: v for t, v in (types or TYPES).items() if t in done}, session_sd=1e-12)
    given = ATTRIBUTES if attributes is None else attributes
    season = by_hand.season(40, sessions, attributes=given or None)
    return by_hand.athlete_of(season, known)


def by_pair(answer: Elements) -> dict[tuple[str, str, str], Contrast]:
    return {(row.attribute, row.a, row.b): row for row in answer.contrasts}


def lines_of(answer: Elements) -> list[str]:
    screen = io.StringIO()
    Console(file=screen, width=80, highlight=False).print(Group(*text(answer)))
    return screen.getvalue().splitlines()


# The numbers.


def test_every_pair_of_every_column_stands_once() -> None:
    assert list(by_pair(elements(trained_in()))) == [
        ("mode", "row", "lift"),
        ("mode", "row", "run"),
        ("mode", "lift", "run"),
        ("effort", "easy", "hard"),
    ]


def test_differences_are_of_means_over_types_worked_out_by_hand() -> None:
    row = by_pair(elements(trained_in()))["mode", "row", "lift"]
    assert row.difference_days.median == pytest.approx((1 + 3) / 2 - 7)
    assert row.difference_dip_ln.median == pytest.approx((0.05 + 0.2) / 2 - 0.4)
    percent = [100 * (1 - np.exp(-dip)) for dip in (0.05, 0.2, 0.4)]
    expected = (percent[0] + percent[1]) / 2 - percent[2]
    assert row.difference_dip_percent.median == pytest.approx(expected)
    assert row.difference_half_life_days.median == pytest.approx(-1.0)
    assert [row.types_a, row.types_b] == [2, 1]
    assert [row.sessions_a, row.sessions_b] == [9, 3]


def test_what_the_first_night_holds_back_is_in_the_days_and_not_in_its_dip() -> None:
    season = by_hand.season(40, SESSIONS, attributes=ATTRIBUTES)
    athlete = by_hand.athlete_of(season, Known(TYPES, session_sd=1e-12, first_night=0.5))
    row = by_pair(elements(athlete))["mode", "lift", "run"]
    assert row.difference_dip_ln.median == pytest.approx(0.2)
    assert row.difference_days.median == pytest.approx(9 - 7)


def test_chances_are_shares_of_draws_on_either_side_of_half_a_day() -> None:
    # Row's half-life is spread evenly, so that row minus paddle is -1 to 1 days, evenly.
    size = CHAINS * 500
    half_life = np.linspace(0.5, 1.5, size)
    types = {"paddle": (0.2, 1.0), "row": (0.2, half_life)}
    athlete = trained_in(
        {t: {"effort": e} for t, e in (("row", "hard"), ("paddle", "easy"))},
        [(3 * i, t) for i, t in enumerate(["row", "paddle"] * 4)],
        types,
    )
    row = by_pair(elements(athlete))["effort", "hard", "easy"]
    assert row.chance_a_slower == pytest.approx(0.5, abs=0.001)
    assert row.chance_a_longer == pytest.approx(0.25, abs=0.001)
    assert row.chance_b_longer == pytest.approx(0.25, abs=0.001)
    assert row.chance_same == pytest.approx(0.5, abs=0.001)
    assert row.difference_days == pytest.approx((-0.8, 0, 0.8), abs=0.001)


def test_each_pair_is_what_compare_answers(demo_athlete: Athlete) -> None:
    for (column, a, b), row in by_pair(elements(demo_athlete, level=0.9)).items():
        one = compare_attribute(demo_athlete, column, a, b, 0.9)
        assert row.difference_days == one.difference_days
        assert row.chance_a_slower == one.chance_a_slower
        assert row.longer == one.longer


def test_half_a_day_is_where_the_morning_is_the_same_more_often_than_not() -> None:
    # Two recoveries a difference apart, at any hour: the share that ends on different mornings.
    start = np.random.default_rng(0).uniform(2, 3, 100_000)
    for difference, share in ((0.3, 0.3), (0.5, 0.5), (0.8, 0.8)):
        apart = (np.ceil(start + difference) != np.ceil(start)).mean()
        assert apart == pytest.approx(share, abs=5 * np.sqrt(0.25 / 100_000))


def test_one_column_alone() -> None:
    answer = elements(trained_in(), "effort")
    assert list(by_pair(answer)) == [("effort", "easy", "hard")]
    assert {value.attribute for value in answer.values} == {"effort"}


def test_ranges_expected_to_miss_are_counted() -> None:
    answer = elements(trained_in(), level=0.9)
    assert answer.expected_misses == pytest.approx(0.4)
    assert "of 4 ranges of days, 0.4 would" in " ".join(" ".join(lines_of(answer)).split())


# What cannot be separated.


def one_type(attribute: str, value: str, type: str) -> Reason:
    return Reason("contrasts of one type", attribute=attribute, value=value, type=type)


def codes(answer: Elements) -> set[str]:
    return {reason.code for reason in answer.entangled}


def test_a_value_of_one_type_only_is_named() -> None:
    answer = elements(trained_in())
    assert codes(answer) == {"contrasts of one type", "sides also differ"}
    found = answer.entangled
    assert [reason for reason in found if reason.code == "contrasts of one type"] == [
        one_type("mode", "lift", "lift"),
        one_type("mode", "run", "run"),
    ]


def test_two_columns_that_always_go_together_are_named_once() -> None:
    attributes = {
        "paddle": {"mode": "row", "effort": "easy"},
        "row": {"mode": "row", "effort": "easy"},
        "lift": {"mode": "lift", "effort": "hard"},
        "run": {"mode": "lift", "effort": "hard"},
    }
    answer = elements(trained_in(attributes))
    values = [["easy", "row"], ["hard", "lift"]]
    assert answer.entangled == (
        Reason("attributes always together", attributes=["effort", "mode"], values=values),
    )
    pairs = by_pair(answer)
    mode, effort = pairs["mode", "row", "lift"], pairs["effort", "easy", "hard"]
    assert mode.difference_days == effort.difference_days


def test_the_column_asked_about_comes_first_of_two_that_go_together() -> None:
    attributes = {
        "paddle": {"mode": "row", "effort": "easy"},
        "lift": {"mode": "lift", "effort": "hard"},
    }
    sessions = [(3 * i, t) for i, t in enumerate(["paddle", "lift"] * 4)]
    found = elements(trained_in(attributes, sessions), "mode").entangled
    values = [["row", "easy"], ["lift", "hard"]]
    together = Reason("attributes always together", attributes=["mode", "effort"], values=values)
    assert found[0] == together


def test_untrained_types_do_not_break_an_alias() -> None:
    attributes = {
        "paddle": {"mode": "row", "effort": "easy"},
        "lift": {"mode": "lift", "effort": "hard"},
        "row": {"mode": "row", "effort": "hard"},  # mixes them, but was not trained
    }
    two = [(3 * i, t) for i, t in enumerate(["paddle", "lift"] * 4)]
    assert "attributes always together" in codes(elements(trained_in(attributes, two)))
    three = [(3 * i, t) for i, t in enumerate(["paddle", "lift", "row"] * 4)]
    assert "attributes always together" not in codes(elements(trained_in(attributes, three)))


def test_single_values_that_are_the_same_types_are_named() -> None:
    # Lift is hard and hard is lift; the other efforts mix.
    attributes = {
        "paddle": {"mode": "row", "effort": "easy"},
        "row": {"mode": "row", "effort": "steady"},
        "lift": {"mode": "lift", "effort": "hard"},
        "run": {"mode": "run", "effort": "easy"},
    }
    answer = elements(trained_in(attributes))
    columns = {"attributes": ["mode", "effort"], "values": ["lift", "hard"]}
    assert Reason("values of the same types", **columns, types=["lift"]) in answer.entangled
    assert "attributes always together" not in codes(answer)


def test_a_contrast_whose_sides_differ_in_another_column_is_named() -> None:
    found = elements(trained_in()).entangled
    # Row against lift is not: row is hard too, once.
    assert [reason for reason in found if reason.code == "sides also differ"] == [
        Reason(
            "sides also differ",
            attribute="mode", a="lift", b="run", other="effort", of_a=["hard"], of_b=["easy"],
        )
    ]  # fmt: skip


def test_values_always_trained_on_the_same_days_are_refused() -> None:
    sessions = [(4 * i, t) for i in range(6) for t in ("row", "lift")]
    sessions += [(4 * i + 2, t) for i, t in enumerate(["paddle", "run"] * 3)]
    answer = elements(trained_in({t: {"kind": t} for t in TYPES}, sessions))
    why = {(pair.a, pair.b): pair.why for pair in answer.refused}
    assert why["row", "lift"] == Reason("always the same days", types=["lift", "row"])
    assert list(by_pair(answer)) == [("kind", "paddle", "run")]
    assert "kind, row against lift: no answer." in "\n".join(lines_of(answer))


def test_values_of_several_types_trained_on_the_same_days_are_refused() -> None:
    # No two types were always trained together, but the two values' days are the same.
    sessions = [(4, "paddle"), (8, "paddle"), (12, "row"), (4, "lift"), (8, "run"), (12, "run")]
    attributes = {
        "paddle": {"group": "a"},
        "row": {"group": "a"},
        "lift": {"group": "b"},
        "run": {"group": "b"},
    }
    with pytest.raises(NoAnswerError) as caught:
        elements(trained_in(attributes, sessions))
    assert caught.value.reasons == (
        Reason("values on the same days", attribute="group", a="a", b="b"),
    )


# What is asked wrongly.


def test_an_unknown_column_is_named_with_those_there_are() -> None:
    with pytest.raises(QuestionError, match="Did you mean 'effort'"):
        elements(trained_in(), "efort")


@pytest.mark.parametrize(
    ("attributes", "columns"),
    [
        ({}, []),
        ({t: {"mode": "row"} for t in TYPES}, ["mode"]),
        ({"paddle": {"mode": "row"}, "sculling": {"mode": "scull"}}, ["mode"]),
    ],
)
def test_nothing_to_compare_names_the_columns_looked_at(
    attributes: dict[str, dict[str, str]], columns: list[str]
) -> None:
    with pytest.raises(NoAnswerError) as caught:
        elements(trained_in(attributes))
    assert caught.value.reasons == (Reason("no two values trained", columns=columns),)


def test_no_session_at_all_says_the_same() -> None:
    season = by_hand.season(40, attributes=ATTRIBUTES)
    with pytest.raises(NoAnswerError) as caught:
        elements(by_hand.athlete_of(season, Known()))
    assert caught.value.reasons == (Reason("no two values trained", columns=["mode", "effort"]),)


def test_types_without_a_value_stand_aside() -> None:
    attributes = {"row": {"mode": "row"}, "lift": {"mode": "lift"}, "run": {"mode": ""}}
    answer = elements(trained_in(attributes))
    assert list(by_pair(answer)) == [("mode", "row", "lift")]
    assert answer.contrasts[0].types_a == 1


# The picture.


def drawn(*days: tuple[float, float, float]) -> list[str]:
    (contrast,) = elements(trained_in(), "effort").contrasts
    return picture([replace(contrast, difference_days=Interval(*each)) for each in days])


def test_the_picture_puts_days_on_one_axis() -> None:
    head, first, second, ruler, labels = drawn((-4, -3, -2), (-1, 0.5, 2))
    zero = head.index("|")
    assert labels.index("0", 24) == zero
    a_day = (labels.index("-3") + 1) - (labels.index("-4") + 1)
    assert first.index("=") == 24  # the lowest value begins the axis
    assert first.index("o") == pytest.approx(24 + a_day, abs=1)
    assert first.rindex("=") == pytest.approx(24 + 2 * a_day, abs=2)
    assert first[zero] == "|"
    assert second[zero] == "#"  # its range holds no difference
    assert second.index("o") == pytest.approx(zero + 0.5 * a_day, abs=1)
    assert ruler.count("+") == 7
    assert head.count(".") + 1 == pytest.approx(a_day, abs=2)  # half a day on each side


def test_the_picture_keeps_the_zero_line_where_all_lies_to_one_side() -> None:
    head, only, *_ = drawn((3.0, 4.0, 5.0))
    assert "|" in head
    assert only.index("|") < only.index("=")


@pytest.mark.parametrize("high", [0.1, 3.0, 70.0, 900.0])
def test_the_picture_fits_any_terminal(high: float) -> None:
    lines = drawn((-high, 0.0, high), (high / 2, high / 2, high / 2))
    assert all(len(line) <= 80 and line.isascii() for line in lines)
    assert any("o" in line for line in lines)


def test_all_of_it_fits_80_columns_with_long_names() -> None:
    long = {
        t: {"how it is done, in words": f"{v['mode']} in the very early morning"}
        for t, v in ATTRIBUTES.items()
    }
    lines = lines_of(elements(trained_in(long)))
    assert all(len(line) <= 80 for line in lines)
    assert not any("\x1b" in line for line in lines)


def test_what_lies_off_zero_is_told_with_the_side_that_takes_longer() -> None:
    answer = elements(trained_in())
    told = {(row.a, row.b): (row.off_zero, row.longer) for row in answer.contrasts}
    assert told["row", "lift"] == (True, "lift")
    assert told["lift", "run"] == (True, "lift")
    assert "lift takes longer than row" in " ".join(lines_of(answer))
    alike = dict.fromkeys(TYPES, (0.2, 1.0))
    same = elements(trained_in(types=alike))
    assert not any(row.off_zero for row in same.contrasts)
    assert "no difference in days" in " ".join(" ".join(lines_of(same)).split())


# On the demo season.


def test_the_demo_season_as_json(demo: Fitted) -> None:
    ran = run("elements", demo.folder, "--json")
    assert ran.status == 0, ran.err
    body = json.loads(ran.out)
    assert {"schema", "season", "last_night", "level", "warnings"} <= body.keys()
    pairs = [(c["attribute"], c["a"], c["b"]) for c in body["contrasts"]]
    for column in ("mode", "effort"):
        values = [v["value"] for v in body["values"] if v["attribute"] == column]
        assert [p[1:] for p in pairs if p[0] == column] == list(combinations(values, 2))
    for contrast in body["contrasts"]:
        shares = [contrast[f"chance_{what}"] for what in ("a_longer", "b_longer", "same")]
        assert sum(shares) == pytest.approx(1.0)
    assert body["same_within_days"] == 0.5


def test_the_demo_season_on_a_plain_screen(demo: Fitted) -> None:
    ran = run("elements", demo.folder, "--attribute", "effort")
    assert ran.status == 0, ran.err
    assert all(len(line) <= 80 for line in ran.out.splitlines())
    assert "how you feel" in ran.out.lower()
    assert "mode:" not in ran.out
