"""The page served: one socket on this machine, and on the network only where that is asked for."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path
from typing import Final

import uvicorn

from slackwater.fitting.serving.app import application
from slackwater.fitting.serving.door import Door
from slackwater.fitting.serving.seasons import Seasons
from slackwater.model.errors import QuestionError

PORT: Final = 8737  # of no registered service (IANA, Service Name and Port Number Registry)
_LOOPBACK: Final = "127.0.0.1"
_ELSEWHERE: Final = "192.0.2.1"  # of no machine (RFC 5737)
_PATIENCE: Final = 3  # seconds that open answers get when it ends


class _Server(uvicorn.Server):
    """A server that says when it can be used."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._ready()


def serve(given: Path, port: int | None, on_network: bool, ready: Callable[[str], None]) -> None:
    """Serve the page until it is ended.

    Args:
        given: a season folder, one that is to become it, or a folder of seasons.
        port: where to listen; 0 for any that is free, None for the usual one or else any.
        on_network: whether the network may ask too.
        ready: called with the opening link once it can be used.

    Raises:
        QuestionError: the port is taken, or there is no network.
    """
    sockets = [_listening(_LOOPBACK, port)]
    number = sockets[0].getsockname()[1]
    hosts = [f"{_LOOPBACK}:{number}", f"localhost:{number}"]
    beyond = None
    if on_network:
        own = _own_address()
        sockets.append(_listening(own, number))
        beyond = f"{own}:{number}"
    door, seasons = Door(), Seasons(given)
    config = uvicorn.Config(
        application(seasons, door, hosts, f"slackwater-{number}", beyond),
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        http="h11",
        loop="asyncio",
        timeout_graceful_shutdown=_PATIENCE,
    )
    server = _Server(config, lambda: ready(f"http://{_LOOPBACK}:{number}/in/{door.secret}"))
    try:
        server.run(sockets)
    except KeyboardInterrupt:
        pass  # the way in which it is ended
    finally:
        for each in sockets:
            each.close()


def _own_address() -> str:
    """Return the address that this machine has on its network.

    Raises:
        QuestionError: it is on none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect((_ELSEWHERE, 9))  # nothing is sent; the system picks its own address
            own = str(asking.getsockname()[0])
        except OSError:
            own = _LOOPBACK
    if own == _LOOPBACK:
        raise QuestionError(
            "This machine is on no network, so no other can reach it; open the page without "
            "--on-network."
        )
    return own


def _listening(host: str, port: int | None) -> socket.socket:
    """Return a socket on a port, or on any free one where the usual one is taken."""
    wanted = PORT if port is None else port
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((host, wanted))
    except OSError as error:
        if port is not None:
            found.close()
            raise QuestionError(
                f"Port {port} cannot be had ({error.strerror}); give another, or --port 0 for any "
                "that is free."
            ) from None
        found.bind((host, 0))
    return found
