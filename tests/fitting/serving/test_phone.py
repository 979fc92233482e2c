"""A phone comes in by a one-time code, where that was asked for, and by nothing else."""

from __future__ import annotations

import re
from pathlib import Path

from starlette.testclient import TestClient

from slackwater.fitting.serving.app import application
from slackwater.fitting.serving.door import Door
from slackwater.fitting.serving.phone import as_picture
from slackwater.fitting.serving.seasons import Seasons
from tests.fitting.serving.conftest import BASE, HOST, Visitor, text_of

BEYOND = "192.0.2.7:8737"  # of no machine (RFC 5737)


def test_a_code_lets_one_phone_in_once(demo_copy: Path) -> None:
    door = Door()
    app = application(Seasons(demo_copy), door, [HOST], beyond=BEYOND)
    desk, phone = TestClient(app, base_url=BASE), TestClient(app, base_url=f"http://{BEYOND}")
    assert phone.get("/s/demo/").status_code == 403
    assert phone.get("/phone").status_code == 403
    desk.get(f"/in/{door.secret}")
    assert "not encrypted" in text_of(desk.get("/phone").text)
    assert desk.post("/phone").status_code == 403  # without the token
    shown = Visitor(desk, door, "demo").send("/phone").text
    found = re.search(rf"http://{BEYOND}(/code/\w+)", shown)
    assert found
    assert "<svg" in shown
    assert phone.get(found[1]).status_code == 200
    assert phone.get("/s/demo/log").status_code == 200
    other = TestClient(app, base_url=f"http://{BEYOND}")
    assert other.get(found[1]).status_code == 403
    assert {other.get("/code/guessed").status_code for _ in range(4)} == {403, 429}


def test_without_being_asked_for_the_network_is_not_answered(visitor: Visitor) -> None:
    assert visitor.client.get("/phone").status_code == 404
    assert visitor.client.get("/s/demo/", headers={"host": BEYOND}).status_code == 421


def test_the_picture_holds_nothing_that_a_strict_page_blocks() -> None:
    drawn = as_picture("http://192.0.2.7:8737/code/abcdefgh")
    assert drawn.startswith("<svg")
    assert "style=" not in drawn
    assert "script" not in drawn
