"""`slackwater report`: what it writes and prints, and when it writes nothing."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting.commands import report as report_command
from slackwater.fitting.report.asked import Asked
from slackwater.fitting.report.page import page as page_module
from tests.fitting.conftest import Fitted, run

MOST_BYTES = 2_000_000

# Command and options that answer each question of the report by themselves.
ALONE: dict[str, list[str]] = {
    "baseline": ["baseline"],
    "recovery": ["recovery"],
    "forecast": ["forecast", "--nights", "10"],
    "forecast with hill run": [
        "forecast", "--nights", "10", "--session", "2031-07-06:hill run",
    ],
    "explain": ["explain"],
    "elements": ["elements"],
    "compare intervention river dip": ["compare", "--intervention", "river dip"],
    "compare intervention beet juice": ["compare", "--intervention", "beet juice"],
    "trial ledger": ["trial", "ledger"],
    "spacing check": ["spacing", "--check"],
    "history": ["history"],
}  # fmt: skip


@pytest.fixture(scope="module")
def printed(planned: Path) -> Any:
    ran = run("report", planned, "--json", "--out", planned / "again.html")
    assert (ran.status, ran.err) == (0, "")
    return json.loads(ran.out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))


def test_the_same_season_gives_the_same_file(planned: Path, printed: Any) -> None:
    again = (planned / "again.html").read_bytes()
    assert again == (planned / "report.html").read_bytes()
    assert len(again) < MOST_BYTES


@pytest.mark.parametrize("question", ALONE)
def test_json_holds_what_each_command_says_by_itself(
    planned: Path, printed: Any, question: str
) -> None:
    command, *options = ALONE[question]
    words = [command, options.pop(0)] if command == "trial" else [command]
    alone = json.loads(run(*words, planned, *options, "--json").out)
    alone.pop("next", None)  # what to do next is told by the command alone
    assert printed["answers"][question] == alone


def test_json_has_the_shared_keys_and_every_question(planned: Path, printed: Any) -> None:
    assert {"schema", "season", "last_night", "level", "warnings", "answers"} <= set(printed)
    assert (printed["season"], printed["level"]) == ("planned", 0.8)
    assert set(ALONE) | {"course", "worth"} <= set(printed["answers"])
    assert printed["refused"] == {}


def test_a_file_that_cannot_be_written_leaves_the_one_before(
    demo: Fitted, asked: Asked, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(source: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device", str(target))

    there = tmp_path / "there.html"
    there.write_text("before", encoding="utf-8")
    monkeypatch.setattr(report_command, "ask_for_report", lambda season, level: asked)
    monkeypatch.setattr(page_module, "page", lambda asked, layout: "after")
    monkeypatch.setattr(Path, "replace", full)
    ran = run("report", demo.folder, "--out", there)
    assert ran.status == 2
    assert "No space left on device" in ran.err
    assert [(p.name, p.read_text(encoding="utf-8")) for p in tmp_path.iterdir()] == [
        ("there.html", "before")
    ]


def test_it_says_where_it_wrote(
    asked: Asked, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_command, "ask_for_report", lambda season, level: asked)
    monkeypatch.setattr(page_module, "page", lambda asked, layout: "the page")
    ran = run("report", tmp_path)
    assert (ran.status, ran.out, ran.err) == (0, f"Wrote {tmp_path / 'report.html'}.\n", "")
    assert (tmp_path / "report.html").read_text(encoding="utf-8") == "the page"


def test_without_a_posterior_it_says_what_to_do_and_writes_nothing(demo_copy: Path) -> None:
    (demo_copy / "posterior.nc").unlink()
    ran = run("report", demo_copy)
    assert (ran.status, ran.out) == (1, "")
    assert f"slackwater fit {demo_copy}" in ran.err
    assert not (demo_copy / "report.html").exists()


def test_plans_that_cannot_be_read_are_named(demo_copy: Path) -> None:
    (demo_copy / "plans.json").write_text("{}", encoding="utf-8")
    ran = run("report", demo_copy)
    assert ran.status == 2
    assert "plans.json: not a list of plans" in ran.err


class Seen(HTMLParser):
    """What of a page could run, load or be sent."""

    def __init__(self, report: Path) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.ids: list[str] = []
        self.feed(report.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            self.attributes.append((name, value or ""))
            if name == "id":
                self.ids.append(value or "")


@pytest.mark.parametrize("folder", ["planned", "odd"])
def test_it_is_one_file_that_runs_and_loads_nothing(
    folder: str, request: pytest.FixtureRequest
) -> None:
    report = request.getfixturevalue(folder) / "report.html"
    seen = Seen(report)
    assert not {"script", "link", "img", "iframe", "object", "form", "base"} & set(seen.tags)
    assert [name for name, _ in seen.attributes if name.startswith("on") or name == "src"] == []
    targets = [v for name, v in seen.attributes if name in ("href", "xlink:href")]
    assert targets
    assert all(target.startswith("#") for target in targets)
    assert all(target[1:] in seen.ids for target in targets)
    assert len(seen.ids) == len(set(seen.ids))
    # Should a name ever slip through, the page still allows no script and no request.
    assert ("http-equiv", "Content-Security-Policy") in seen.attributes
    assert ("content", "default-src 'none'; style-src 'unsafe-inline'") in seen.attributes
    assert "@import" not in report.read_text(encoding="utf-8")
    assert report.stat().st_size < MOST_BYTES
