"""What a reading is made of: by hand, on the demo season, and as it is shown."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from rich.cells import cell_len
from rich.console import Console
from scipy import integrate, stats

from slackwater.fitting import Posterior, Standing, explain, standing
from slackwater.fitting.answers.explain import logarithmic_mean, parts_of
from slackwater.fitting.report.terminal.explain import how_often, sentences
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.state.past import past_of
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted, run

KNOWN = Known({"row": (0.3, 2.0), "lift": (0.2, 3.0)}, noise_sd=0.1, drift_sd=1e-6)


def asked(season: Season, day: int | None, known: Known = KNOWN, **more: Any) -> xr.Dataset:
    posterior = whole_posterior(season, known, **more)
    night = None if day is None else FIRST + DAY * day
    return explain(standing(season, posterior), posterior, night)


def shares(answer: xr.Dataset, name: str = "share_ln") -> dict[tuple[str, str], float]:
    middle = answer[name].sel(bound="median").values
    keys = zip(answer["part_label"].values, answer["part_date"].values, strict=True)
    return {(str(a), str(b)): float(x) for (a, b), x in zip(keys, middle, strict=True)}


# By hand.


def test_what_is_left_of_each_session_and_stressor() -> None:
    """Half-lives of 2, 3 and 1 days; nights are counted from the one after the session."""
    season = by_hand.season(
        30, [(20, "row"), (22, "lift")], doses={22: 2.0}, stressors=[(23, "cold")]
    )
    known = KNOWN._replace(stressors={"cold": (0.1, 1.0)})
    found = shares(asked(season, 25, known, session_z=[1.0, 0.0]))
    assert found["row", "2031-03-21"] == pytest.approx(-0.3 * np.exp(0.2) * 0.5 ** (4 / 2))
    assert found["lift", "2031-03-23"] == pytest.approx(-2 * 0.2 * 0.5 ** (2 / 3))
    assert found["cold", "2031-03-24"] == pytest.approx(-0.1 * 0.5**1)


def test_a_first_night_shows_its_share_of_the_dip() -> None:
    season = by_hand.season(30, [(20, "row")])
    known = KNOWN._replace(first_night=0.6)  # which shows 0.3, so that the dip is 0.5
    assert shares(asked(season, 21, known))["row", "2031-03-21"] == pytest.approx(-0.3)
    later = shares(asked(season, 22, known))["row", "2031-03-21"]
    assert later == pytest.approx(-0.5 * 0.5**0.5)


def test_a_measure_speeds_what_is_left() -> None:
    season = by_hand.season(30, [(20, "row")], interventions=[(21, "bath"), (22, "bath")])
    answer = asked(season, 24, KNOWN._replace(rate_ratios={"bath": 2.0}))
    # The nights dated 22 and 23 bring two nights' recovery each, that of 24 one.
    assert shares(answer)["row", "2031-03-21"] == pytest.approx(-0.3 * 0.5 ** (5 / 2))


def test_sensor_and_start_are_parts() -> None:
    season = by_hand.season(30, sensors=["clip"] * 15 + ["strap"] * 15)
    known = KNOWN._replace(sensor_steps={"clip": 0.08})
    answer = asked(season, 3, known, start_dip=0.4)
    found = shares(answer)
    assert found["clip", ""] == pytest.approx(0.08)
    assert found["unlogged start", ""] == pytest.approx(-0.4 * np.exp(-3 * np.exp(-1.0)))
    assert dict(zip(answer["part_label"].values, answer["part_kind"].values, strict=True)) == {
        "unlogged start": "start",
        "clip": "sensor",
        "noise": "noise",
    }
    assert "sensor" not in asked(season, 20, known)["part_kind"].values


def test_what_is_under_one_percent_is_summed() -> None:
    sessions = [(2, "row"), (5, "row"), (8, "lift"), (20, "row")]
    season = by_hand.season(30, sessions, stressors=[(4, "cold")])
    answer = asked(season, 22, KNOWN._replace(stressors={"cold": (0.1, 1.0)}))
    found = shares(answer)
    first, second, lift = 0.3 * 0.5 ** (19 / 2), 0.3 * 0.5 ** (16 / 2), 0.2 * 0.5 ** (13 / 3)
    assert lift < 0.01
    assert found["older sessions", ""] == pytest.approx(-(first + second + lift))
    assert found["older stressors", ""] == pytest.approx(-0.1 * 0.5**17)
    assert set(found) - {("unlogged start", ""), ("noise", "")} == {
        ("older sessions", ""),
        ("older stressors", ""),
        ("row", "2031-03-21"),
    }


def test_parts_are_in_order_of_size_and_the_noise_is_last() -> None:
    answer = asked(by_hand.season(30, [(20, "row"), (22, "lift"), (23, "row")]), 25)
    middle = np.abs(answer["share_ln"].sel(bound="median").values)
    assert (np.diff(middle[:-1]) <= 0).all()
    assert answer["part_kind"].values[-1] == "noise"


def test_noise_is_what_is_left_over_and_how_often_it_comes() -> None:
    """Against the heavy-tailed noise integrated with scipy."""
    readings = np.full(400, 4.0)
    readings[200] += 0.25
    known = KNOWN._replace(types={}, noise_sd=0.1, noise_tail=0.5, drift_sd=1e-9)
    answer = asked(by_hand.season(readings=readings), 200, known)
    noise = shares(answer)["noise", ""]
    assert noise == pytest.approx(0.25, abs=0.01)  # 399 others hold baseline at 4 within 0.005

    def beyond(scale: float) -> float:
        sd = 0.1 * np.exp(0.5 * scale / 2)
        return float(2 * stats.norm.sf(noise / sd) * stats.norm.pdf(scale))

    expected, _ = integrate.quad(beyond, -8, 8)
    # The noise differs between draws by baseline's 0.005; the chance by 10 % or so of itself.
    assert float(answer["noise_chance"]) == pytest.approx(expected, rel=0.05)


def test_a_night_without_a_reading_has_no_noise() -> None:
    readings = np.full(30, 4.0)
    readings[22] = np.nan
    answer = asked(by_hand.season(sessions=[(20, "row")], readings=readings), 22)
    assert "noise" not in answer["part_kind"].values
    assert np.isnan(float(answer["reading_rmssd_ms"]))
    assert np.isnan(float(answer["noise_chance"]))
    said = " ".join(sentences(answer))
    assert said.startswith("There is no reading of 2031-03-23;")
    assert "oise" not in said
    total = answer["share_ms"].sel(bound="median").sum()
    gap = answer["expected_rmssd_ms"] - answer["baseline_rmssd_ms"]
    assert float(total) == pytest.approx(float(gap.sel(bound="median")), abs=0.5)


def test_logarithmic_mean_lies_between_and_makes_shares_add_up() -> None:
    a, b = np.array([60.0, 60.0, 60.0, 80.0]), np.array([60.0, 60.0 + 1e-9, 30.0, 90.0])
    mean = logarithmic_mean(a, b)
    assert mean[:2] == pytest.approx([60.0, 60.0])
    assert mean[2] == pytest.approx(30 / np.log(2))
    assert mean * np.log(b / a) == pytest.approx(b - a, rel=1e-5, abs=1e-12)
    near = logarithmic_mean(np.array([60.0]), 60.0 * np.exp(np.array([2e-6])))
    assert near == pytest.approx(60.0 * (1 + 1e-6), rel=1e-9)


@pytest.mark.parametrize("day", [-3, 30, 400])
def test_a_night_outside_the_readings_is_refused(day: int) -> None:
    with pytest.raises(QuestionError, match="give a night from 2031-03-01 to 2031-03-30"):
        asked(by_hand.season(30), day)


def test_a_past_that_was_edited_is_refused() -> None:
    posterior = whole_posterior(by_hand.season(30), KNOWN._replace(types={}))
    edited = by_hand.season(30, readings=[4.2] * 30)
    with pytest.raises(NoAnswerError, match="fit again"):
        explain(standing(edited, posterior), posterior)


# All parts add up.

NIGHTS = [0, 3, 15, 75, 76, 77, 111, 112, 178, 181]


@pytest.mark.parametrize("night", NIGHTS)
def test_parts_add_up_to_the_reading_in_every_draw(
    demo: Fitted, demo_now: Standing, night: int
) -> None:
    past = past_of(demo_now, demo.posterior)
    parts = parts_of(past, night)
    total = past.level[:, night] + sum(part.share for part in parts)
    reading = past.readings[night]
    expected = past.level[:, night] - past.shown[:, night] + past.shift[:, night]
    read = np.isfinite(reading)
    assert (parts[-1].kind == "noise") == read
    assert total == pytest.approx(np.full(len(total), reading) if read else expected, abs=1e-9)
    without_noise = total - parts[-1].share if read else total
    assert without_noise == pytest.approx(expected, abs=1e-9)


def test_last_night_is_as_the_state_has_it(demo: Fitted, demo_now: Standing) -> None:
    past = past_of(demo_now, demo.posterior)
    dips = past.shown_on(len(past.season.nights) - 1)
    for kind, mine in (("session", slice(0, 5)), ("stressor", slice(5, 6)), ("start", slice(6, 7))):
        which = [i for i, event in enumerate(past.events) if event.kind == kind]
        expected = demo_now.dips[:, mine].sum(axis=1)
        assert dips[:, which].sum(axis=1) == pytest.approx(expected, rel=1e-6, abs=1e-12)


# Readings since the fit.


def three_more(season: Season) -> Season:
    """The season with three more mornings, one of them not read, a session and a stressor."""
    tables = season.tables()
    last = season.last_night
    new = {
        "readings": {"date": [last + DAY, last + 3 * DAY], "log_rmssd": np.log([58.0, 64.0])},
        "sessions": {"date": [last], "type": ["hill run"], "dose": [0.5]},
        "stressors": {"date": [last + DAY], "stressor": ["head cold"]},
    }
    new["readings"]["sensor"] = ["chest strap", "finger clip"]
    for name, rows in new.items():
        tables[name] = pd.concat([tables[name], pd.DataFrame(rows)], ignore_index=True)
    return Season.from_tables(season.name, **tables)


def test_mornings_since_the_fit_are_explained_too(demo: Fitted) -> None:
    season = three_more(demo.season)
    now = standing(season, demo.posterior)
    past = past_of(now, demo.posterior)
    for night in (100, 181, 182, 183, 184):
        parts = parts_of(past, night)
        reading = past.readings[night]
        assert (parts[-1].kind == "noise") == np.isfinite(reading)
        if np.isfinite(reading):
            total = past.level[:, night] + sum(part.share for part in parts)
            assert total == pytest.approx(np.full(len(total), reading), abs=1e-9)
    answer = explain(now, demo.posterior)
    found = shares(answer)
    assert answer.attrs["night"] == "2031-07-09"
    new = {("hill run", "2031-07-06"), ("head cold", "2031-07-07"), ("finger clip", "")}
    assert new <= set(found)
    assert found["hill run", "2031-07-06"] < -0.01


def test_the_past_ends_where_the_state_is_after_new_mornings(demo: Fitted) -> None:
    now = standing(three_more(demo.season), demo.posterior)
    past = past_of(now, demo.posterior)
    left = past.shown_on(len(past.season.nights) - 1)
    for column, group in enumerate(now.groups):
        mine = left[:, [event.label == group for event in past.events]]
        assert mine.sum(axis=1) == pytest.approx(now.dips[:, column], rel=1e-6, abs=1e-12)
    assert past.filtered.mean[:, -1] == pytest.approx(now.level_mean, abs=1e-9)
    assert past.filtered.variance[:, -1] == pytest.approx(now.level_variance, rel=1e-9)


# As it is shown.


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.9, "on most nights"),
        (0.5, "about 1 night in 2"),
        (0.083, "about 1 night in 12"),
        (0.0004, "less than 1 night in 1000"),
    ],
)
def test_how_often(share: float, said: str) -> None:
    assert how_often(share) == said


def test_most_of_it_is_named_with_its_day() -> None:
    readings = np.full(40, 4.0)
    for day, dip in ((29, 0.3), (30, 0.3 * 0.5**0.5), (31, 0.15), (32, 0.3 * 0.5**1.5)):
        readings[day] -= dip
    season = by_hand.season(33, [(28, "row")], readings=readings[:33])
    posterior = whole_posterior(season, KNOWN._replace(noise_sd=0.01))
    answer = explain(standing(season, posterior), posterior, FIRST + DAY * 29)
    said = " ".join(sentences(answer))
    assert said.startswith("The 40 ms of 2031-03-30 is 26 % under your baseline of 55 ms")
    assert "Most of it is Saturday's row (26 %)." in said  # 29 March 2031
    today = " ".join(sentences(explain(standing(season, posterior), posterior)))
    assert today.startswith("This morning's 49 ms is 10 % under your baseline")


def text_and_json(folder: Path, *arguments: str) -> tuple[str, Any]:
    shown = run("explain", folder, *arguments)
    assert (shown.status, shown.err) == (0, "")
    return shown.out, json.loads(run("explain", folder, *arguments, "--json").out)


@pytest.mark.parametrize("night", ["2031-07-04", "2031-03-26", "2031-01-08"])
def test_text_shows_the_numbers_of_the_json(demo: Fitted, night: str) -> None:
    shown, found = text_and_json(demo.folder, "--night", night)
    assert max(map(len, shown.splitlines())) <= 80
    assert found["night"] == night
    baseline, under = found["baseline_rmssd_ms"], found["under_baseline_percent"]["median"]
    whole = " ".join(shown.split())
    assert f"The {found['reading_rmssd_ms']:.0f} ms of {night} is {under:.0f} % under" in whole
    assert f"{baseline['median']:.0f} ms ({baseline['low']:.0f} to {baseline['high']:.0f})" in whole
    cell = r"([+-]?\d+) \(([+-]?\d+) to ([+-]?\d+)\)"
    dated = [part for part in found["parts"] if part["date"]]
    assert dated or night == "2031-01-08"
    for part in dated:
        lines = re.findall(rf"^.*{part['date']} +{cell} +{cell}", shown, flags=re.MULTILINE)
        percent = {b: 100 * np.expm1(x) for b, x in part["share_ln"].items()}
        close = [
            all(
                abs(float(x) - y[b]) <= 0.5001
                for numbers, y in ((line[:3], percent), (line[3:], part["share_ms"]))
                for x, b in zip(numbers, ("median", "low", "high"), strict=True)
            )
            for line in lines
        ]
        assert any(close) or max(map(abs, percent.values())) < 1


def test_any_name_keeps_to_80_columns_and_is_shown_as_it_is() -> None:
    name = "[red]lift[/red] \N{ROWBOAT} " + 60 * "x"
    season = by_hand.season(30, [(27, name), (28, "row")])
    posterior = whole_posterior(season, Known({name: (0.3, 2.0), "row": (0.2, 1.0)}))
    screen = io.StringIO()
    show(Console(file=screen, width=80), explain(standing(season, posterior), posterior))
    lines = screen.getvalue().splitlines()
    assert max(map(cell_len, lines)) <= 80
    assert "[red]lift[/red]" in "".join(line[:16].strip() for line in lines)


def test_json_of_the_last_night_holds_the_contract(demo: Fitted) -> None:
    shown, found = text_and_json(demo.folder)
    assert {"schema", "season", "last_night", "level", "warnings"} <= set(found)
    assert found["night"] == found["last_night"] == "2031-07-06"
    assert "This morning's 67 ms is" in shown
    assert "no diagnosis" in shown
    assert found["parts"][-1]["kind"] == "noise"
    assert found["parts"][-1]["date"] is None
    assert 0 < found["noise_chance"] <= 1


def test_a_stored_posterior_explains_like_the_one_just_fitted(
    demo: Fitted, demo_now: Standing
) -> None:
    stored = Posterior.load(demo.folder)
    fresh = explain(demo_now, demo.posterior)["share_ln"].values
    again = explain(standing(demo.season, stored), stored)["share_ln"].values
    assert again == pytest.approx(fresh, abs=1e-6)


@pytest.mark.parametrize("night", ["2031-7-4", "yesterday", "2031-07-07", "2030-01-01"])
def test_a_night_that_cannot_be_explained_is_refused(demo: Fitted, night: str) -> None:
    ran = run("explain", demo.folder, "--night", night)
    assert (ran.status, ran.out) == (2, "")
    assert night in ran.err


def test_no_posterior_no_explanation(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-01-06,60\n", encoding="utf-8")
    ran = run("explain", tmp_path)
    assert (ran.status, ran.out) == (1, "")
    assert "slackwater fit" in ran.err
