"""Only its owner's own page is answered: each other way in is tried, and refused in words.

What is refused follows the cheat sheets of the OWASP project on cross-site request forgery, DNS
rebinding and file uploads (from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from slackwater.fitting.serving.guard import MOST_OF_A_FILE, MOST_OF_A_FORM
from tests.fitting.serving.conftest import BASE, HOST, NEXT, Visitor, opened, text_of


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:80", f"{HOST}.example"])
def test_another_name_than_its_own_is_not_answered(visitor: Visitor, host: str) -> None:
    answer = visitor.client.get(visitor.to(), headers={"host": host})
    assert answer.status_code == 421
    assert "demo" not in answer.text


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8737"])
def test_another_page_may_not_ask(visitor: Visitor, origin: str) -> None:
    before = (folder := visitor_folder(visitor)).read_bytes()
    form = {"token": visitor.token(), "ms": "66"}
    for how in ({"origin": origin}, {"sec-fetch-site": "cross-site"}):
        answer = visitor.client.post(visitor.to("reading"), data=form, headers=how)
        assert answer.status_code == 403
    assert folder.read_bytes() == before


def visitor_folder(visitor: Visitor) -> Path:
    """Return the file of readings behind a visitor's page."""
    page = text_of(visitor.look("fit"))
    return Path(page.split("The season is the folder ")[1].split(": plain")[0]) / "readings.csv"


@pytest.mark.parametrize("token", ["", "wrong"])
def test_a_form_without_the_visitors_token_changes_nothing(visitor: Visitor, token: str) -> None:
    before = (file := visitor_folder(visitor)).read_bytes()
    answer = visitor.client.post(visitor.to("reading"), data={"token": token, "ms": "66"})
    assert answer.status_code == 403
    assert "nothing was written" in text_of(answer.text)
    assert file.read_bytes() == before


def test_who_has_not_the_link_sees_nothing(demo_copy: Path) -> None:
    client, door, _ = opened(demo_copy)
    for path in ("/", "/s/demo/", "/s/demo/log"):
        answer = client.get(path)
        assert answer.status_code == 403
        assert "slackwater open" in answer.text
        assert "baseline" not in answer.text
    assert client.get("/in/guessed").status_code == 403  # sent on, and told there
    assert client.get(f"/in/{door.secret[:-1]}").status_code == 403
    assert client.get(f"/in/{door.secret}").status_code == 200


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(demo_copy: Path) -> None:
    client, door, _ = opened(demo_copy)
    cookie = client.get(f"/in/{door.secret}", follow_redirects=False).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert door.secret not in cookie


@pytest.mark.parametrize(
    "path",
    [
        "/s/..%2f..%2fetc/", "/s/%2e%2e/", "/s/demo/..%2freadings.csv", "/static/..%2fapp.py",
        "/static/%2e%2e%2f%2e%2e%2f%2e%2e%2fetc%2fpasswd", "/s/other/", "/s/demo/readings.csv",
        "/static/page.css%00.py", "/s/demo%2f../",
    ],
)  # fmt: skip
def test_nothing_beside_the_seasons_can_be_reached(visitor: Visitor, path: str) -> None:
    other = visitor_folder(visitor).parent.parent / "other"
    other.mkdir(exist_ok=True)
    (other / "readings.csv").write_text("date,rmssd_ms\n2031-01-01,50\n")
    answer = visitor.client.get(path)
    assert answer.status_code in (403, 404)
    assert "root:" not in answer.text
    assert "rmssd_ms" not in answer.text


def test_a_body_is_bounded_by_what_it_says_and_by_what_comes(visitor: Visitor) -> None:
    large = b"ms=" + b"6" * MOST_OF_A_FORM
    kind = {"content-type": "application/x-www-form-urlencoded"}
    for content in (large, iter([large])):  # the second says no length
        answer = visitor.client.post(visitor.to("reading"), content=content, headers=kind)
        assert answer.status_code == 413
        assert "Nothing was written" in answer.text
    assert MOST_OF_A_FORM < MOST_OF_A_FILE


def test_other_requests_than_a_browsers_are_refused(visitor: Visitor) -> None:
    assert visitor.client.put(visitor.to(), content=b"x").status_code == 405
    assert visitor.client.delete(visitor.to()).status_code == 405


@pytest.fixture
def headers(visitor: Visitor) -> dict[str, str]:
    return dict(visitor.client.get(visitor.to()).headers)


def test_every_page_forbids_what_it_does_not_need(headers: dict[str, str]) -> None:
    rules = dict(rule.split(" ", 1) for rule in headers["content-security-policy"].split("; "))
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == rules["style-src"] == rules["form-action"] == "'self'"
    assert rules["frame-ancestors"] == rules["base-uri"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-content-type-options"] == "nosniff"


def test_an_own_origin_is_let_through(visitor: Visitor) -> None:
    form = {"token": visitor.token(), "ms": "66", "date": NEXT}
    answer = visitor.client.post(visitor.to("reading"), data=form, headers={"origin": BASE})
    assert answer.status_code == 200
    assert "Logged the reading" in answer.text


def test_a_failure_of_the_page_itself_is_said_in_words(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("slackwater.fitting.serving.views.fit.show", fails)
    came_in = visitor.client.cookies
    client = TestClient(
        visitor.client.app, base_url=BASE, raise_server_exceptions=False, cookies=came_in
    )
    answer = client.get(visitor.to("fit"))
    assert answer.status_code == 500
    assert "its own mistake" in answer.text
    assert "default-src" in answer.headers["content-security-policy"]
