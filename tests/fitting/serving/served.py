"""The page on a port of its own, in a thread, for a real browser."""

from __future__ import annotations

import datetime as dt
import socket
import threading
from pathlib import Path

import uvicorn

from slackwater.fitting.serving.app import application
from slackwater.fitting.serving.door import Door
from slackwater.fitting.serving.seasons import Seasons


class Clock:
    """A clock that a test sets."""

    def __init__(self, day: str) -> None:
        self.day = dt.date.fromisoformat(day)

    def __call__(self) -> dt.date:
        return self.day


class Served:
    """The page on a folder, on a port of its own."""

    def __init__(self, folder: Path, clock: Clock, beyond: str | None = None) -> None:
        self._socket = socket.socket()
        self._socket.bind(("127.0.0.1", 0))
        host = f"127.0.0.1:{self._socket.getsockname()[1]}"
        door = Door()
        app = application(Seasons(folder, clock), door, [host], beyond=beyond)
        config = uvicorn.Config(app, log_config=None, ws="none", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, args=([self._socket],))
        self._thread.start()
        self.base, self.link = f"http://{host}", f"http://{host}/in/{door.secret}"

    def end(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self._socket.close()
