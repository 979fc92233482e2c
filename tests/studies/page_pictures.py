"""The pictures of a day in the page: `python -m tests.studies.page_pictures`.

Writes docs/pictures/page-*.png, from the demo season in Chromium, as it is lived.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import sync_playwright

from slackwater.fitting import SeasonFolder
from slackwater.fitting.demo import copy_demo
from tests.fitting.serving.served import Clock, Served

PICTURES: Final = Path(__file__).parents[2] / "docs" / "pictures"
PHONE: Final = {"width": 390, "height": 844}
DESK: Final = {"width": 1200, "height": 800}
DAY: Final = "2031-07-07"


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "season"
        copy_demo(folder)
        SeasonFolder(folder).fit()
        served = Served(folder, Clock(DAY))
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        try:
            live(browser, served)
        finally:
            browser.close()
            served.end()


def live(browser: Any, served: Served) -> None:
    """Live a day, and take its pictures on the way."""
    home = f"{served.base}/s/season/"
    page = browser.new_page(viewport=PHONE)
    page.goto(served.link)
    page.screenshot(path=PICTURES / "page-morning.png")
    page.keyboard.type("66")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Logged the reading")
    page.screenshot(path=PICTURES / "page-answered.png")
    page.goto(f"{home}log")
    page.screenshot(path=PICTURES / "page-log.png")
    page.goto(f"{home}plan")
    page.fill('[name="count-hill run"]', "1")
    page.fill('[name="count-steady row"]', "2")
    page.locator("button", has_text="Make the plan").click()
    page.wait_for_selector("h1:text-is('It fits')")
    page.screenshot(path=PICTURES / "page-plan.png")
    page.close()
    desk = browser.new_page(viewport=DESK, color_scheme="dark")
    desk.goto(f"{served.link}")
    desk.goto(f"{home}season?span=91")
    desk.screenshot(path=PICTURES / "page-season.png")
    desk.close()


if __name__ == "__main__":
    main()
