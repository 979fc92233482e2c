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
VIEWS = ("", "log", "week", "season", "why", "types", "rest", "plan", "trial", "fit", "beats")


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


def test_every_view_holds_what_people_need(browser: Any, demo_copy: Path) -> None:
    """Fits from 360 to 1440 pixels, light and dark; axe-core finds nothing; nothing is blocked."""
    served = Served(demo_copy, Clock(NEXT))
    said: list[str] = []
    try:
        for width, scheme, views in ((360, "light", VIEWS), (1440, "dark", VIEWS[:4:3])):
            page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
            page.on("console", lambda message: said.append(message.text))
            page.goto(served.link)
            for view in views:
                page.goto(f"{served.base}/s/demo/{view}")
                assert page.evaluate("document.documentElement.scrollWidth") <= width, view
                found = axe.Axe().run(page).response["violations"]
                assert [(v["id"], [n["html"][:200] for n in v["nodes"]]) for v in found] == [], view
            page.close()
        assert said == []
    finally:
        served.end()


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
