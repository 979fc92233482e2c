"""A week lived in the page, in a real browser: from an empty folder to a plan, without a mouse."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.fitting.serving.conftest import NEXT
from tests.fitting.serving.served import Clock, Served
from tests.fitting.serving.test_app import rows

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
NARROW = {"width": 360, "height": 800}
VIEWS = (
    *("", "log", "week", "season", "why", "types", "repeats", "rest", "plan", "trial", "fit"),
    *("beats", "table"),
)
WIDE = ("", "season", "types")
DARK = ("begin", "", "log", "season", "types", "trial", "phone", "refused")
_RULES: Any = {"light": {}, "dark": {"runOnly": ["color-contrast"]}}
STEPS = {  # a screen: where it begins, what is filled in, what is pressed, what it then shows
    "seasons": ("/?all=1", {}, "a[href='/s/demo/']", "h1"),
    "phone": ("/phone", {}, "main form button", ".code svg"),
    "asked about": ("/s/demo/", {"ms": "660"}, ".fields button", "h1:has-text('right?')"),
    "refused": ("/s/demo/", {"ms": "many"}, ".fields button", "h1:has-text('did not work')"),
    "planned": (
        "/s/demo/plan",
        {"count-hill run": "2"},
        "main form.wish button:last-of-type",
        "h1",
    ),
}
ASKED = {"mimeType": "text/csv", "buffer": b"day,ms\n03/04/2031,61\n05/04/2031,60\n"}
NO_FAULTS = ("status of 422", "Autofocus processing was blocked")  # what a browser notes


class Keys:
    """A keyboard that counts."""

    def __init__(self, page: Any) -> None:
        self.page, self.count = page, 0

    def __call__(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.count += 1

    def types(self, text: str) -> None:
        self(*text)


def test_a_day_is_logged_without_a_mouse(browser: Any, demo_copy: Path) -> None:
    served = Served(demo_copy, Clock(NEXT))
    page = browser.new_page(viewport=PHONE)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    try:
        page.goto(served.link)
        assert page.evaluate("document.documentElement.scrollHeight") <= PHONE["height"]
        keys = Keys(page)
        keys.types("66")
        page.reload()  # in the middle of a form
        assert page.input_value("#ms") == "66"
        page.focus("#ms")
        keys("Enter")
        page.wait_for_selector("text=Logged the reading")
        assert page.evaluate("document.documentElement.scrollHeight") <= 1.2 * PHONE["height"]
        keys("Enter")  # on to the log
        page.wait_for_function("document.activeElement.name === 'type'")
        first = page.evaluate("document.activeElement.value")
        keys("Enter")
        page.wait_for_selector("text=Logged the session")
        assert rows(demo_copy, "sessions")[-1] == {"date": NEXT, "type": first} | {
            key: "" for key in rows(demo_copy, "sessions")[-1] if key not in ("date", "type")
        }
        while page.evaluate("document.activeElement.name") != "intervention":
            keys("Tab")
        keys("Enter")
        page.wait_for_selector("text=Logged the measure")
        assert keys.count <= 15
        assert said == []
    finally:
        page.close()
        served.end()


def test_every_view_holds_what_people_need(
    browser: Any, demo_copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fits a phone and a desk; axe-core finds nothing, light or dark; nothing is blocked."""
    monkeypatch.setattr("slackwater.fitting.repeating.narrowing.MORE", (1, 4))  # or it takes long
    monkeypatch.setattr("slackwater.fitting.repeating.narrowing.THINNED", 200)
    served = Served(demo_copy, Clock(NEXT), beyond="192.0.2.7:8737")  # of no machine (RFC 5737)
    begun = Served(tmp_path / "new", Clock(NEXT))
    page = browser.new_page(viewport=NARROW)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    try:
        page.goto(begun.link)
        held(page, "begin")
        page.goto(served.link)
        for view in VIEWS:
            page.goto(f"{served.base}/s/demo/{view}")
            held(page, view)
            if view in WIDE:
                page.set_viewport_size(DESK)
                assert page.evaluate("document.documentElement.scrollWidth") <= DESK["width"], view
                page.set_viewport_size(NARROW)
        for name, step in STEPS.items():
            page.goto(f"{served.base}{step[0]}")
            page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
            for field, value in step[1].items():
                page.locator(f"[name='{field}']:visible").last.fill(value)
            page.locator(step[2]).click()
            page.wait_for_selector(step[3])
            held(page, name)
        page.goto(f"{served.base}/s/demo/table")
        page.set_input_files("input[type=file]", {"name": "a.csv", **ASKED})
        page.locator("main form button").click()
        page.wait_for_selector("h1:has-text('One question')")
        held(page, "a question about a file")
        assert [each for each in said if not any(usual in each for usual in NO_FAULTS)] == []
    finally:
        page.close()
        served.end()
        begun.end()


def held(page: Any, what: str) -> None:
    """Assert that a screen is no wider than a phone, and that axe-core finds nothing."""
    page.emulate_media(color_scheme="light")
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"], what
    for scheme in ("light", "dark") if what in DARK else ("light",):
        page.emulate_media(color_scheme=scheme)
        found = axe.Axe().run(page, options=_RULES[scheme]).response["violations"]
        assert [(v["id"], [n["html"][:200] for n in v["nodes"]]) for v in found] == [], what


def test_a_season_is_begun_without_scripts(browser: Any, tmp_path: Path) -> None:
    served = Served(tmp_path / "new", Clock(NEXT))
    context = browser.new_context(viewport=DESK, java_script_enabled=False)
    page = context.new_page()
    try:
        page.goto(served.link)
        page.locator("button", has_text="Begin").click()
        for day in range(7, 14):
            page.goto(f"{served.base}/s/new/")
            page.locator("summary", has_text="nother day").click()
            page.locator("details input[name=ms]").fill(str(50 + day))
            page.locator("details input[name=date]").fill(f"2031-07-{day:02}")
            page.locator("details button").click()
            if page.locator("h1", has_text="Is that right?").count():
                page.locator("button", has_text="It is right").click()
            assert f"Logged the reading of 2031-07-{day:02}" in page.inner_text("main")
        assert len(rows(tmp_path / "new")) == 7
    finally:
        context.close()
        served.end()
