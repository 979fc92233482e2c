"""What every request passes first: whose it is, where it comes from, how much it brings."""

from __future__ import annotations

from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from slackwater.fitting.files import MEBIBYTE
from slackwater.fitting.serving.door import Door

MOST_OF_A_FORM: Final = MEBIBYTE // 4
MOST_OF_A_FILE: Final = 64 * MEBIBYTE  # a year of nights' beats is under that
_OPEN: Final = ("/in/", "/code/", "/static/")  # what may be asked for by anyone who reaches us
_BRINGING: Final = ("/table", "/beats")
_CSP: Final = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = {
    "content-security-policy": _CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none, a form without script says no origin
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "private, no-cache",
}


class TooMuchError(Exception):
    """A request's body is larger than it may be."""


class Guard:
    """Refuses what does not come from a visitor's own page, and bounds what it brings."""

    def __init__(self, app: ASGIApp, door: Door, hosts: Collection[str], cookie: str) -> None:
        """Stand before an application.

        Args:
            app: the application.
            door: who came in.
            hosts: what the page is reached by, as `host:port`; no other name is answered.
            cookie: the name of the visitors' cookie.
        """
        self._app, self._door = app, door
        self._hosts, self._cookie = frozenset(hosts), cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it in words."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refused = self._refusal(scope)
        if refused is not None:
            await refused(scope, receive, _with_headers(send))
            return
        headers, most = Headers(scope=scope), _most(scope["path"])
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > most:
            await too_much()(scope, receive, _with_headers(send))
            return
        await self._app(scope, _bounded(receive, most), _with_headers(send))

    def _refusal(self, scope: Scope) -> HTMLResponse | None:
        headers = Headers(scope=scope)
        host = headers.getlist("host")
        if len(host) != 1 or host[0].lower() not in self._hosts:
            return _page(421, "This address is not one of this page.")
        changes = scope["method"] not in ("GET", "HEAD")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _page(405, "The page knows no such request.")
        origin = headers.get("origin")
        if origin is not None and origin not in {f"http://{host}" for host in self._hosts}:
            return _page(403, "Another page asked for this; it was refused.")
        if changes and headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return _page(403, "Another page asked for this; it was refused.")
        scope["token"] = self._door.token(_cookie_of(headers, self._cookie))
        if scope["token"] is None and not scope["path"].startswith(_OPEN):
            return not_in()
        return None


_NOT_IN: Final = (
    "This page is its owner's alone. Open it by the link that <code>slackwater open</code> printed "
    "when it was last started; an earlier link or tab no longer counts. What you were about to "
    "enter is still in the tab before this one: go back to see it."
)


def too_much() -> HTMLResponse:
    """Return the answer to a body that is larger than it may be."""
    return _page(413, "That is more than the page takes at once. Nothing was written.")


def broken() -> HTMLResponse:
    """Return the answer where the page itself failed; the terminal shows how."""
    return _page(
        500,
        "The page itself failed here, which is its own mistake. What was written is whole, and "
        "the log says what that is; go back, and what you had typed is still there. The window in "
        "which the page was opened shows what happened.",
        "Not your mistake",
    )


def wait_a_while(seconds: float) -> HTMLResponse:
    """Return the answer to a code that comes too soon after wrong ones."""
    whole = int(seconds) + 1
    answer = _page(429, f"Too many wrong codes; wait {whole} s, then ask the page for a new one.")
    answer.headers["retry-after"] = str(whole)
    return answer


def not_in() -> HTMLResponse:
    """Return the answer to whoever did not come in by the opening link."""
    return _page(403, _NOT_IN)


def _page(status: int, text: str, heading: str = "Not here") -> HTMLResponse:
    """Return a page of one sentence, made without anything of a season."""
    return HTMLResponse(
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>slackwater</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="stylesheet" href="/static/report.css"></head>'
        f"<body><main><h1>{heading}</h1><p>{text}</p></main></body></html>",
        status,
    )


def _most(path: str) -> int:
    return MOST_OF_A_FILE if path.endswith(_BRINGING) else MOST_OF_A_FORM


def _cookie_of(headers: Headers, name: str) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return "" if found is None else found.value


def _bounded(receive: Receive, most: int) -> Receive:
    taken = 0

    async def within() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooMuchError
        return message

    return within


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
