"""The JSON that outside programs rely on: every key promised is there, with its type.

A list stands for any number of such items; `Interval` for {"median", "low", "high"}.
Keys may be added to an object, and none may go.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any, Final

import pytest

from tests.fitting.conftest import Fitted, run

Check = Callable[[Any], bool]


def number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def share(value: Any) -> bool:
    return number(value) and 0 <= value <= 1


def text(value: Any) -> bool:
    return isinstance(value, str) and value != ""


def truth(value: Any) -> bool:
    return isinstance(value, bool)


def date(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value) is not None


def interval(value: Any) -> bool:
    return (
        {"median", "low", "high"} <= set(value)
        and all(number(value[key]) for key in ("median", "low", "high"))
        and value["low"] <= value["median"] <= value["high"]
    )


def day_and_share(value: Any) -> bool:
    return len(value) == 2 and count(value[0]) and share(value[1])


def verdict(value: Any) -> bool:
    return value in ("faster", "slower", "no meaningful difference", "undecided")


EVERY: Final[dict[str, Any]] = {
    "schema": lambda value: value == 1 and isinstance(value, int),
    "season": text,
    "last_night": date,
    "level": share,
    "warnings": [text],
}
RECOVERY: Final[dict[str, Any]] = {
    "threshold": {"ln_units": number, "percent": number, "rule": text},
    "types": [
        {
            "type": text,
            "sessions": count,
            "dip_ln": interval,
            "half_life_days": interval,
            "typical_days": interval,
            "next_session_days": interval,
            "days_for_chance": {"0.5": count, "0.8": count, "0.9": count},
            "chance_by_day": [day_and_share],
        }
    ],
}
BASELINE: Final[dict[str, Any]] = {
    "baseline_rmssd_ms": interval,
    "dip_left_ln": interval,
    "chance_at_baseline": share,
    "further_rest_days": interval,
    "plateau": {"flat_nights": count, "reached": truth},
    "night_to_night_sd_ln": interval,
}
FORECAST: Final[dict[str, Any]] = {
    "days_to_baseline": interval,
    "nights": [
        {
            "date": date,
            "rmssd_ms": interval,
            "ln_mean": number,
            "ln_sd": number,
            "chance_at_baseline": share,
        }
    ],
}
TODAY: Final[dict[str, Any]] = {
    "reading_ms": number,
    "chance_at_baseline": share,
    "unexplained": lambda value: value is None,
    "types": [{"type": text, "from": date, "chance_today": share}],
    "measure_today": lambda value: value is None,
    "planned": lambda value: value is None,
}
INTERVENTION: Final[dict[str, Any]] = {
    "intervention": text,
    "nights_with": count,
    "nights_without": count,
    "sessions_with": count,
    "sessions_without": count,
    "rate_ratio": interval,
    "chance_faster": share,
    "days_saved": [{"type": text, "median": number, "low": number, "high": number}],
    "verdict": verdict,
    "verdict_rule": text,
}
DIFFERENCE: Final[dict[str, Any]] = {
    "a": text,
    "b": text,
    "difference_days": interval,
    "chance_a_slower": share,
}
CONTRACT: Final = [
    (["recovery"], RECOVERY),
    (["baseline"], BASELINE),
    (["forecast"], FORECAST),
    (["today"], TODAY),
    (["today", "--chance", "0.9"], TODAY),
    (["forecast", "--nights", "7", "--session", "2031-07-08:hill run"], FORECAST),
    (["compare", "--intervention", "river dip"], INTERVENTION),
    (["compare", "--intervention", "beet juice"], INTERVENTION),
    (["compare", "--types", "hill run", "steady row"], DIFFERENCE),
    (["compare", "--attribute", "effort", "hard", "easy"], DIFFERENCE),
]


def broken(value: Any, promised: Any, at: str = "") -> list[str]:
    """Return where a value is not what was promised."""
    if isinstance(promised, dict):
        if not isinstance(value, dict):
            return [f"{at}: no object"]
        missing = [f"{at}.{key}: missing" for key in promised if key not in value]
        present = (key for key in promised if key in value)
        return missing + [
            b for key in present for b in broken(value[key], promised[key], f"{at}.{key}")
        ]
    if isinstance(promised, list):
        if not isinstance(value, list):
            return [f"{at}: no list"]
        return [b for i, item in enumerate(value) for b in broken(item, promised[0], f"{at}[{i}]")]
    return [] if promised(value) else [f"{at}: {value!r}"]


def answer(demo: Fitted, arguments: list[str], *more: str) -> Any:
    command, *options = arguments
    ran = run(command, demo.folder, *options, "--json", *more)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith("{")
    # Strict JSON has no NaN (RFC 8259, section 6).
    return json.loads(ran.out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))


@pytest.mark.parametrize(
    ("arguments", "promised"), CONTRACT, ids=[" ".join(arguments) for arguments, _ in CONTRACT]
)
def test_every_promised_key_is_there_with_its_type(
    demo: Fitted, arguments: list[str], promised: dict[str, Any]
) -> None:
    found = answer(demo, arguments)
    assert broken(found, EVERY | promised) == []
    assert found["season"] == "demo"
    assert found["last_night"] == "2031-07-06"
    assert found["level"] == 0.8
    # Lists that the demo season must not leave empty, or the check above says nothing.
    for key in ("types", "nights", "days_saved"):
        if key in promised:
            assert found[key]


def test_the_check_itself_finds_what_is_broken() -> None:
    good = {"median": 1.0, "low": 0.5, "high": 2}
    assert broken({"a": [{"b": good}]}, {"a": [{"b": interval}]}) == []
    for bad in ({"median": 1.0, "low": 1.5, "high": 2}, {"median": None, "low": 0, "high": 2}):
        assert broken({"a": [{"b": bad}]}, {"a": [{"b": interval}]}) == [f".a[0].b: {bad!r}"]
    assert broken({}, {"a": count}) == [".a: missing"]
    assert broken({"a": True}, {"a": count}) == [".a: True"]
    assert broken({"a": {}}, {"a": [count]}) == [".a: no list"]


@pytest.mark.parametrize("arguments", [arguments for arguments, _ in CONTRACT[:3]])
def test_intervals_are_at_the_level_asked_for(demo: Fitted, arguments: list[str]) -> None:
    def widths(value: Any) -> list[float]:
        if isinstance(value, dict) and {"median", "low", "high"} <= set(value):
            return [value["high"] - value["low"]]
        items = value.values() if isinstance(value, dict) else value
        return [w for v in items if isinstance(v, dict | list) for w in widths(v)]

    narrow, usual = answer(demo, arguments, "--level", "0.5"), answer(demo, arguments)
    assert narrow["level"] == 0.5
    pairs = list(zip(widths(narrow), widths(usual), strict=True))
    assert pairs
    assert all(inner <= outer for inner, outer in pairs)
    assert any(inner < outer for inner, outer in pairs)


def test_chances_and_days_agree(demo: Fitted) -> None:
    for row in answer(demo, ["recovery"])["types"]:
        by_day = dict(row["chance_by_day"])
        assert list(by_day) == list(range(1, len(by_day) + 1))
        for chance, day in row["days_for_chance"].items():
            assert by_day.get(day, 1.0) >= float(chance)
            assert by_day.get(day - 1, 0.0) < float(chance)


def test_nights_follow_the_last_reading_day_by_day(demo: Fitted) -> None:
    found = answer(demo, ["forecast", "--nights", "3"])
    assert [night["date"] for night in found["nights"]] == [
        "2031-07-07",
        "2031-07-08",
        "2031-07-09",
    ]


def test_a_contrast_turned_round_changes_its_sign(demo: Fitted) -> None:
    one = answer(demo, ["compare", "--types", "hill run", "steady row"])
    other = answer(demo, ["compare", "--types", "steady row", "hill run"])
    assert (one["a"], one["b"]) == (other["b"], other["a"]) == ("hill run", "steady row")
    for bound, opposite in (("low", "high"), ("median", "median"), ("high", "low")):
        assert one["difference_days"][bound] == pytest.approx(-other["difference_days"][opposite])
    assert one["chance_a_slower"] == pytest.approx(1 - other["chance_a_slower"])
