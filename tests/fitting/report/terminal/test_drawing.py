"""Strips and range bars: as tall and as wide as their numbers, on any terminal."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys

import pytest
import xarray as xr
from rich.console import Console

from slackwater.fitting.answers.intervals import BOUND
from slackwater.fitting.report.terminal.drawing import Scale, Strip, ruler
from tests.fitting.conftest import Fitted, run


def interval(low: float, median: float, high: float) -> xr.DataArray:
    return xr.DataArray([low, median, high], dims=BOUND, coords={BOUND: ["low", "median", "high"]})


def printed(strip: Strip, encoding: str) -> str:
    raw = io.BytesIO()
    with io.TextIOWrapper(raw, encoding=encoding) as file:
        Console(file=file).print(strip)
        file.flush()
        return raw.getvalue().decode(encoding).rstrip()


@pytest.mark.parametrize(("encoding", "marks"), [("utf-8", "▁▁▂▃▅▇██"), ("ascii", "__.:=*##")])
def test_a_strip_is_the_taller_the_larger_its_share(encoding: str, marks: str) -> None:
    shares = [0, 0.124, 0.125, 0.3, 0.5, 0.8, 0.99, 1]
    assert printed(Strip(shares), encoding) == marks


def test_the_ruler_names_the_first_day_and_every_fifth() -> None:
    assert ruler(8) == "1   5"
    assert ruler(12) == "1   5    10"
    over = ruler(30)
    assert all(over[day - 1 :].startswith(str(day)) for day in (1, 5, 10, 15, 20, 25, 30))


def test_bars_share_a_scale_that_holds_them_all() -> None:
    narrow, wide = interval(50.4, 52, 54), interval(41.2, 60, 79.6)
    scale = Scale.over([narrow, wide], 40)
    assert (scale.low, scale.high) == (41, 80)
    assert scale.ends("ms") == f"41{'80 ms':>38}"
    for values in (narrow, wide):
        bar = str(scale.bar(values))
        assert len(bar) == 40
        low, middle, high = (float(v) for v in values)
        assert bar.index("o") == pytest.approx(middle - 41, abs=0.51)
        assert len(bar) - len(bar.lstrip()) == pytest.approx(low - 41, abs=0.51)
        assert len(bar.rstrip()) - 1 == pytest.approx(high - 41, abs=0.51)


def test_one_number_thrice_is_a_mark_of_its_own() -> None:
    point = interval(60, 60, 60)
    assert str(Scale.over([point], 10).bar(point)).strip() == "o"


def test_recovery_draws_each_types_chances_beside_their_days(demo: Fitted) -> None:
    shown = run("recovery", demo.folder).out
    for row in json.loads(run("recovery", demo.folder, "--json").out)["types"]:
        found = re.search(rf"^{row['type']} +([▁-█]+) +day (\d+) +day (\d+)$", shown, re.MULTILINE)
        assert found, shown
        assert int(found[2]) == row["days_for_chance"]["0.5"]
        assert int(found[3]) == row["days_for_chance"]["0.9"]
        assert len(found[1]) == len(row["chance_by_day"])
        tallest = ["▁▂▃▄▅▆▇█".index(mark) for mark in found[1]]
        assert tallest == [min(int(8 * chance), 7) for _, chance in row["chance_by_day"]]


@pytest.mark.parametrize("asked", [["forecast", "--nights", "3"], ["history"]])
def test_each_reading_and_each_quarter_has_its_bar_beside_it(
    demo: Fitted, asked: list[str]
) -> None:
    command, *options = asked
    shown = run(command, demo.folder, *options).out
    bars = re.findall(r"^(.*\d ms \(\d+ to \d+\).*=o=.*|.*=o=.* \d+ ms \(.*)$", shown, re.MULTILINE)
    assert len(bars) == 3
    over = r"^(?:morning +reading +chance of baseline|quarter) +(\d+) +(\d+) ms"
    ends = re.search(over, shown, re.MULTILINE)
    assert ends
    assert int(ends[1]) < int(ends[2])


def test_a_terminal_that_knows_ascii_alone_gets_nothing_else(demo: Fitted) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "slackwater.fitting", "recovery", str(demo.folder)],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "COLUMNS": "80"},
    )
    assert ran.returncode == 0, ran.stderr
    shown = ran.stdout.decode("ascii")
    assert re.search(r"^hill run +\| [_.:\-=+*#]+ ", shown, re.MULTILINE)
    assert re.search(r"\(\d+-\d+\)", shown)
    assert "?" not in shown
