"""The page as a browser sees it: a season behind it, and somebody who came in by the link."""

from __future__ import annotations

import datetime as dt
import html
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pytest
from starlette.testclient import TestClient

from slackwater.fitting.serving.app import application
from slackwater.fitting.serving.door import Door
from slackwater.fitting.serving.seasons import Seasons

HOST: Final = "127.0.0.1:8737"
BASE: Final = f"http://{HOST}"
NEXT: Final = "2031-07-07"  # the morning after the demo's last


class Visitor:
    """Somebody who came in by the opening link, and reads and fills in forms."""

    def __init__(self, client: TestClient, door: Door, season: str) -> None:
        self.client, self.door, self.season = client, door, season

    def look(self, view: str = "") -> str:
        """Return a view's page."""
        answer = self.client.get(self.to(view))
        assert answer.status_code == 200, answer.text
        return answer.text

    def to(self, view: str = "") -> str:
        return view if view.startswith("/") else f"/s/{self.season}/{view}"

    def token(self) -> str:
        """Return what the visitor's forms hold."""
        return self.door.token(next(iter(self.client.cookies.values()))) or ""

    def send(self, view: str, form: Mapping[str, Any] | None = None, **more: Any) -> Any:
        """Return the answer to a form, with its token."""
        filled = {"token": self.token(), **(form or {})}
        return self.client.post(self.to(view), data=filled, **more)

    def enters(self, view: str, **form: Any) -> str:
        """Return the text of the view that says what an entry did."""
        answer = self.send(view, form)
        assert answer.status_code == 200, text_of(answer.text)
        assert answer.history, text_of(answer.text)
        return text_of(answer.text)


def text_of(page: str) -> str:
    """Return what a page says, without what stands only for machines."""
    body = re.sub(r"<(script|style|svg)\b.*?</\1>", "", page, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ").split())


def opened(folder: Path, clock: dt.date = dt.date(2031, 7, 7)) -> tuple[TestClient, Door, Seasons]:
    """Return the page on a folder, on a day."""
    door, seasons = Door(), Seasons(folder, lambda: clock)
    return TestClient(application(seasons, door, [HOST]), base_url=BASE), door, seasons


def visit(folder: Path, **how: Any) -> Visitor:
    """Return a visitor of the page on a folder."""
    client, door, seasons = opened(folder, **how)
    client.get(f"/in/{door.secret}")
    return Visitor(client, door, seasons.to_begin or folder.name)


@pytest.fixture
def visitor(demo_copy: Path) -> Visitor:
    return visit(demo_copy)
