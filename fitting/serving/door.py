"""Who may come in: whoever holds the opening link, or a one-time code where the network may ask."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from typing import Final

_CODE: Final = 8  # characters
_LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"  # none that is taken for another
_VALID: Final = 600.0  # seconds
_FREE_TRIES: Final = 3
_LONGEST_WAIT: Final = 300.0  # seconds


class TooManyTriesError(Exception):
    """Too many wrong codes came in; `seconds` until the next is looked at."""

    def __init__(self, seconds: float) -> None:
        """Take the seconds to wait."""
        super().__init__(seconds)
        self.seconds = seconds


class Door:
    """The secrets of one run: the opening link's, one-time codes, and who came in by them."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """Make the secrets.

        Args:
            clock: seconds that only go forward.
        """
        self.secret = secrets.token_urlsafe(24)
        self._clock = clock
        self._tokens: dict[str, str] = {}  # each visitor's cookie -> what its forms must hold
        self._code: tuple[str, float] | None = None
        self._wrong = 0
        self._shut_until = 0.0

    def enter(self, secret: str) -> str | None:
        """Return a new visitor's cookie for the opening link's secret; None for a wrong one."""
        return self._admit() if _same(secret, self.secret) else None

    def new_code(self) -> str:
        """Return a code that lets one visitor in, once, within ten minutes."""
        code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE))
        self._code = code, self._clock() + _VALID
        return code

    def enter_by_code(self, given: str) -> str | None:
        """Return a new visitor's cookie for the code, which is then used up; None for a wrong one.

        Raises:
            TooManyTriesError: wrong ones came before, and it is too early for another.
        """
        now = self._clock()
        if now < self._shut_until:
            raise TooManyTriesError(self._shut_until - now)
        code, until = self._code or ("", 0.0)
        if code and now <= until and _same(given.strip().lower(), code):
            self._code, self._wrong = None, 0
            return self._admit()
        self._wrong += 1
        if self._wrong >= _FREE_TRIES:
            self._shut_until = now + min(2.0 ** (self._wrong - _FREE_TRIES), _LONGEST_WAIT)
        return None

    def token(self, cookie: str) -> str | None:
        """Return what the forms of a visitor must hold; None for nobody who came in."""
        return self._tokens.get(cookie)

    def _admit(self) -> str:
        cookie = secrets.token_urlsafe(24)
        self._tokens[cookie] = secrets.token_urlsafe(24)
        return cookie


def _same(given: str, wanted: str) -> bool:
    return secrets.compare_digest(given.encode(), wanted.encode())
