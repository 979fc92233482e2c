"""A bound on the time that a library may spend on a file."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

SECONDS: float = 10.0  # of work; a day of annotated beats takes two


@contextmanager
def bounded() -> Iterator[None]:
    """Stop what goes round in circles, as damaged files make some readers do.

    It is a bound where the system has timers of work and this is the main thread.

    Raises:
        TimeoutError: after `SECONDS` of work.
    """
    main = threading.current_thread() is threading.main_thread()
    if not main or not hasattr(signal, "SIGVTALRM"):
        yield
        return

    def stop(_number: int, _frame: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
