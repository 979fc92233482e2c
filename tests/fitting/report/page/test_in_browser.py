"""The page in a real browser: every width, light, dark and on paper; odd names; axe-core."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.fitting.report.terminal.printing import TECHNICAL

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")

PAPER = 680  # CSS pixels between the margins of A4; Letter has a few more
LOOKS = [(w, m) for w in (360, 768, 1440) for m in ("light", "dark")] + [(PAPER, "print")]

# Text that does not fit its own box, of elements that hold text themselves.
CUT_OFF = """() => [...document.querySelectorAll('body *')].filter(e =>
  !e.closest('svg') && e.checkVisibility() && e.clientWidth > 1
  && [...e.childNodes].some(c => c.nodeType === 3 && c.data.trim())
  && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 4))
  .map(e => e.outerHTML.slice(0, 200))"""
# Text in pictures: outside its picture, too small to read, or over other text.
IN_PICTURES = """() => {
  const wrong = [];
  for (const svg of document.querySelectorAll('svg.picture')) {
    if (!svg.checkVisibility()) continue;
    const box = svg.getBoundingClientRect(), scale = box.width / svg.viewBox.baseVal.width;
    const texts = [...svg.querySelectorAll('text')].map(t => [t, t.getBoundingClientRect()]);
    texts.forEach(([t, r], i) => {
      if (r.left < box.left - 1 || r.right > box.right + 1 || r.top < box.top - 1
          || r.bottom > box.bottom + 1) wrong.push('outside: ' + t.textContent);
      if (parseFloat(getComputedStyle(t).fontSize) * scale < 11.9)
        wrong.push('small: ' + t.textContent);
      for (const [u, s] of texts.slice(i + 1))
        if (Math.min(r.right, s.right) - Math.max(r.left, s.left) > 2
            && Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > 4)
          wrong.push('over another: ' + t.textContent + ' / ' + u.textContent);
    });
  }
  return wrong;
}"""

SHOWN = """() => [...document.querySelectorAll('.drawn')].map(
  drawn => [...drawn.querySelectorAll('svg')].filter(svg => svg.checkVisibility()).length)"""


@pytest.fixture(params=["planned", "odd"])
def report(request: pytest.FixtureRequest) -> Path:
    folder: Path = request.getfixturevalue(request.param)
    return folder / "report.html"


class Opened:
    """A page as it was opened, with what it said and asked for."""

    def __init__(self, browser: Any, report: Path, width: int, medium: str, **how: Any) -> None:
        scheme = "dark" if medium == "dark" else "light"
        viewport = {"width": width, "height": 780}
        self.page = browser.new_page(viewport=viewport, color_scheme=scheme, **how)
        self.said: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        if medium == "print":
            self.page.emulate_media(media="print")
        self.page.goto(report.as_uri())

    def unfold(self) -> None:
        """Open all that is folded up."""
        self.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")


@pytest.mark.parametrize(("width", "medium"), LOOKS)
def test_everything_fits_and_nothing_is_asked_for(
    browser: Any, report: Path, width: int, medium: str
) -> None:
    opened = Opened(browser, report, width, medium)
    page = opened.page
    if medium != "print":  # paper has all of it
        opened.unfold()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(CUT_OFF) == []
    assert page.evaluate(IN_PICTURES) == []
    assert page.evaluate(SHOWN) == [1] * 13  # of the two widths of each picture
    assert page.evaluate("window.ran") is None
    assert opened.said == []
    assert opened.requests == [report.as_uri()]
    page.close()


def test_it_reads_the_same_without_scripts(browser: Any, planned: Path) -> None:
    text = []
    for scripts in (True, False):
        opened = Opened(browser, planned / "report.html", 360, "light", java_script_enabled=scripts)
        text.append(opened.page.inner_text("body"))
        opened.page.close()
    assert text[0] == text[1]


def test_the_first_screen_of_a_phone_says_where_and_when(browser: Any, planned: Path) -> None:
    page = Opened(browser, planned / "report.html", 360, "light").page
    heading = page.locator("h1").bounding_box()
    picture = page.locator("svg.picture.narrow").first.bounding_box()
    assert heading["y"] + heading["height"] < 400
    assert picture["y"] < 640  # of 780
    # Folded up, the page is a few screens; it was 21,600 pixels.
    assert page.evaluate("document.documentElement.scrollHeight") < 5400
    assert not TECHNICAL.search(page.inner_text("body"))
    page.close()


def test_every_link_can_be_reached_by_keyboard_and_leads_somewhere(
    browser: Any, planned: Path
) -> None:
    page = Opened(browser, planned / "report.html", 360, "light").page
    links, folds = (page.locator(tag).count() for tag in ("a", "summary"))
    reached = []
    for _ in range(links + folds):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.tagName"))
        assert reached[-1] == "SUMMARY" or page.evaluate(
            "!!document.querySelector(document.activeElement.getAttribute('href'))"
        )
    assert (reached.count("A"), reached.count("SUMMARY")) == (links, folds)
    assert min(links, folds) > 5
    page.close()


@pytest.mark.parametrize(
    ("folder", "width", "medium"),
    [("planned", 360, "light"), ("planned", 1440, "dark"), ("odd", 360, "dark")],
)
def test_axe_finds_nothing_serious(
    browser: Any, folder: str, width: int, medium: str, request: pytest.FixtureRequest
) -> None:
    report = request.getfixturevalue(folder) / "report.html"
    opened = Opened(browser, report, width, medium)
    opened.unfold()
    page = opened.page
    found = axe.Axe().run(page).response["violations"]
    serious = [v for v in found if v["impact"] in ("serious", "critical")]
    assert [(v["id"], [node["html"][:200] for node in v["nodes"]]) for v in serious] == []
    page.close()
