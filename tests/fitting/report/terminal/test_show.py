"""Text on a terminal: the same numbers as in JSON, 80 columns, whatever things are called."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len

from slackwater.fitting.report import words
from tests.fitting.conftest import Fitted, run
from tests.fitting.report import folders
from tests.fitting.report.folders import Names

# "18 % (14–23)", "4.2 (3.1 to 6.0)", "62 ms (55 to 70)"
RANGE = r"(-?[\d.]+)(?: %| ms| times)? \((-?[\d.]+)(?:–| to )(-?[\d.]+)\)"


def answer(folder: Path, *arguments: str) -> Any:
    command, *options = arguments
    return json.loads(run(command, folder, *options, "--json").out)


def text(folder: Path, *arguments: str) -> str:
    command, *options = arguments
    return run(command, folder, *options).out


def assert_range(shown: tuple[str, ...], interval: dict[str, float], step: float) -> None:
    """Compare median, low and high as shown with an interval, to half a step of rounding."""
    for number, bound in zip(shown, ("median", "low", "high"), strict=True):
        assert float(number) == pytest.approx(interval[bound], abs=0.5001 * step)


def percent(interval: dict[str, float]) -> dict[str, float]:
    return {bound: 100 * (1 - 2.718281828459045**-value) for bound, value in interval.items()}


def fact(shown: str, name: str) -> str:
    """Return what stands beside a name in a table of facts."""
    found = re.search(rf"^{re.escape(name)} {{2,}}(.*)$", shown, flags=re.MULTILINE)
    assert found, f"no {name!r} in\n{shown}"
    return found[1].strip()


def test_recovery_shows_the_numbers_of_the_json(demo: Fitted) -> None:
    shown = text(demo.folder, "recovery")
    found = answer(demo.folder, "recovery")
    for row in found["types"]:
        line = re.search(rf"^{row['type']} +(\d+) .*day (\d+)$", shown, flags=re.MULTILINE)
        assert line is not None
        assert int(line[1]) == row["sessions"]
        assert int(line[2]) == row["days_for_chance"]["0.8"]
        dip, typical, following = re.findall(RANGE, line[0])
        assert_range(dip, percent(row["dip_ln"]), 1)
        assert_range(typical, row["typical_days"], 0.1)
        assert_range(following, row["next_session_days"], 0.1)
        sentence = re.search(rf"^  {row['type']}: (\d+) days?$", shown, re.M)
        assert sentence is not None
        assert int(sentence[1]) == row["days_for_chance"]["0.8"]
    whole = " ".join(text(demo.folder, "recovery", "--explain-terms").split())
    assert f"under {found['threshold']['percent']:.0f} % ({found['threshold']['rule']})" in whole


def test_baseline_shows_the_numbers_of_the_json(demo: Fitted) -> None:
    shown = text(demo.folder, "baseline")
    found = answer(demo.folder, "baseline")
    for name, interval, step in (
        ("baseline", found["baseline_rmssd_ms"], 1),
        ("dip left: the state under it", percent(found["dip_left_ln"]), 1),
        ("days of rest until back", found["further_rest_days"], 0.1),
        ("ordinary night-to-night SD", percent(found["night_to_night_sd_ln"]), 1),
    ):
        (range_shown,) = re.findall(RANGE, fact(shown, name))
        assert_range(range_shown, interval, step)
    share = re.search(r"At baseline: the chance is (\d+) %\.", shown)
    assert share is not None
    assert float(share[1]) == pytest.approx(100 * found["chance_at_baseline"], abs=0.5)
    nights = found["plateau"]["flat_nights"]
    reached = "reached" if found["plateau"]["reached"] else "not reached"
    assert fact(shown, "plateau of rest").startswith(f"{reached} ({nights} flat night")


def test_forecast_shows_the_numbers_of_the_json(demo: Fitted) -> None:
    asked = ("forecast", "--nights", "3", "--session", "2031-07-08:hill run")
    shown, found = text(demo.folder, *asked), answer(demo.folder, *asked)
    assert "demo: The coming readings, with 2031-07-08 hill run\n" in shown
    assert found["sessions"] == ["2031-07-08 hill run"]
    days = re.search(rf"Days until back, middle and range: {RANGE}", shown)
    assert days is not None
    assert_range(days.groups(), found["days_to_baseline"], 0.1)
    after = (dt.date.fromisoformat(found["back_by"]) - dt.date(2031, 7, 6)).days
    assert f"with these sessions: in {after} days" in " ".join(shown.split())
    for night in found["nights"]:
        (line,) = re.findall(rf"^{night['date']} .*$", shown, flags=re.MULTILINE)
        (reading,) = re.findall(RANGE, line)
        assert_range(reading, night["rmssd_ms"], 1)
        share = float(re.sub(r"\D", "", line.split(")")[1]))
        assert share == pytest.approx(100 * night["chance_at_baseline"], abs=1.0)


def test_a_measure_shows_the_numbers_of_the_json(demo: Fitted) -> None:
    asked = ("compare", "--intervention", "river dip")
    shown, found = text(demo.folder, *asked), answer(demo.folder, *asked)
    (ratio,) = re.findall(RANGE, fact(shown, "recovery rate, with over without"))
    assert_range(ratio, found["rate_ratio"], 0.01)
    for side in ("with", "without"):
        nights, sessions = found[f"nights_{side}"], found[f"sessions_{side}"]
        assert fact(shown, side) == f"{nights} nights, {sessions} sessions"
    assert found["verdict"] == "undecided"
    assert "days saved" not in shown  # of what may as well be days lost
    low, high = (round(100 * (found["rate_ratio"][end] - 1)) for end in ("low", "high"))
    assert f"from {-low} % slower to {high} % faster" in shown
    assert f"({found['lift_percent']['low']:.0f} to ".replace("-", "\N{MINUS SIGN}") in shown
    plain = " ".join(shown.split())
    assert found["verdict_rule"] in plain
    assert found["settled_by"] in plain


@pytest.mark.parametrize(
    "asked",
    [
        ("compare", "--types", "hill run", "steady row"),
        ("compare", "--types", "steady row", "hill run"),
        ("compare", "--attribute", "mode", "lift", "row"),
    ],
)
def test_a_difference_shows_the_numbers_of_the_json(demo: Fitted, asked: tuple[str, ...]) -> None:
    shown, found = " ".join(text(demo.folder, *asked).split()), answer(demo.folder, *asked)
    difference = found["difference_days"]
    longer = found["a"] if difference["median"] >= 0 else found["b"]
    shorter = found["b"] if longer == found["a"] else found["a"]
    assert f"{longer} takes {abs(difference['median']):.1f} days longer than {shorter};" in shown
    between = re.search(r"likely (-?\d+\.\d) to (-?\d+\.\d)", shown)
    assert between is not None
    ends = sorted(abs(float(end)) for end in between.groups())
    expected = sorted(abs(difference[end]) for end in ("low", "high"))
    assert ends == pytest.approx(expected, abs=0.05001)
    chance = found["chance_a_slower"]
    chance = chance if longer == found["a"] else 1 - chance
    assert f"The chance that {longer} takes longer is {words.chance(chance)}" in shown


def test_the_level_is_said(demo: Fitted) -> None:
    assert "Ranges hold 8 times in 10." in text(demo.folder, "baseline")
    assert "Ranges hold 95 times in 100." in text(demo.folder, "baseline", "--level", "0.95")


ODD = {
    "long": Names(
        "h" * 200, "e" * 200, "m" * 200, "c" * 200, ("v" * 200, "w" * 200), "s" * 200, "o o" * 70
    ),
    "of other scripts": Names("ריצה קשה", "😀" * 50, "🛁", "מאמץ", ("👩‍🚀", "❄️"), "🤒", "مشي خفيف"),
    "like markup": Names(
        "[bold]hill[/bold]",
        "[/red]",
        "<i>&amp;",
        "[on red]",
        ("</p>", "[/a]"),
        "[x",
        "<script>1</script>",
    ),
    "like formats": Names("{0}", "%s %d", "{season}", "$HOME", ("`ls`", "{}"), "#", "\\n"),
}


@pytest.mark.parametrize("names", ODD.values(), ids=ODD.keys())
def test_odd_names_are_shown_as_they_are_within_80_columns(tmp_path: Path, names: Names) -> None:
    folders.write(tmp_path, names)
    types = [names.hard, names.easy, names.other]
    asked: list[tuple[list[str], list[str]]] = [
        (["recovery"], types),
        (["forecast", "--session", f"2031-04-12:{names.easy}"], [names.hard, names.easy]),
        (["compare", "--intervention", names.measure], [names.measure]),
        (["compare", "--types", names.hard, names.easy], [names.hard, names.easy]),
        (["compare", "--attribute", names.column, *names.values], [names.column, *names.values]),
        (["check"], types),
    ]
    for (command, *options), named in asked:
        ran = run(command, tmp_path, *options)
        assert ran.status == 0, ran.err
        assert all(cell_len(line) <= 80 for line in ran.out.splitlines())
        together = "".join(ran.out.split())  # long names are folded over several lines
        assert all("".join(name.split()) in together for name in named)
        found = run(command, tmp_path, *options, "--json").out
        assert all(json.dumps(name)[1:-1] in json.dumps(json.loads(found)) for name in named)


def test_wide_numbers_do_not_crowd_out_the_names(tmp_path: Path) -> None:
    plain = Names("hill run", "row", "bath", "effort", ("hard", "easy"), "cold", "lift")
    folders.write(tmp_path, plain)
    shown = text(tmp_path, "recovery")
    assert re.search(r"^lift +6 .* >60 \(40\.0–>60\) .* after day 30$", shown, flags=re.MULTILINE)
    assert "…" not in shown


@pytest.mark.parametrize("command", ["recovery", "baseline", "forecast", "check"])
def test_the_demo_fits_80_columns(demo: Fitted, command: str) -> None:
    shown = text(demo.folder, command)
    assert max(cell_len(line) for line in shown.splitlines()) <= 80


def test_a_pipe_gets_no_colour_and_no_control_character(demo: Fitted) -> None:
    for command in ("recovery", "baseline", "forecast"):
        assert "\x1b" not in text(demo.folder, command)


@pytest.mark.parametrize(("setting", "coloured"), [("NO_COLOR", False), ("FORCE_COLOR", True)])
def test_colour_follows_the_users_setting(
    demo: Fitted, monkeypatch: pytest.MonkeyPatch, setting: str, coloured: bool
) -> None:
    # https://no-color.org: any value that is not empty turns colour off. Bold and dim stay.
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv(setting, "1")
    shown = text(demo.folder, "recovery")
    assert not re.search(r"\x1b\[(?:\d+;)*(?:3\d|4\d|9\d|10\d)[;m]", shown)
    assert ("\x1b[" in shown) or not coloured
