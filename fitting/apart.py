"""Work done in a process of its own, so that it leaves nothing in this one, whatever comes of it.

Libraries that read packed files do so in machine code: what a damaged or hostile file makes of
them (no end, all memory, an abort) then ends the other process alone. And what processes that share
a machine need to know.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from multiprocessing import parent_process
from threading import Thread
from typing import Any, Final

from slackwater.fitting.files import MEBIBYTE

SECONDS: Final = 60
MEMORY: Final = 2048 * MEBIBYTE
# Linear algebra of a process that works beside as many as there are cores; read when it begins.
ONE_THREAD: Final = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"), "1"
)
_CHILD: Final = "from slackwater.fitting.apart import _serve; _serve({memory})"


class ApartError(Exception):
    """The work was not done; its text says why."""


def end_with_parent() -> None:
    """Have this process of a pool end when the one that began it is killed.

    It would wait for work for ever: it holds the other end of the queue itself.
    """
    parent = parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=watch, daemon=True).start()


def apart(
    work: Callable[..., Any],
    *given: Any,
    seconds: int | None = SECONDS,
    memory: int | None = MEMORY,
) -> Any:
    """Return what a function returns, called in another process.

    Args:
        work: a function of a module.
        given: its arguments; they and what is returned are pickled.
        seconds: that it may take; None where it is trusted to end.
        memory: bytes that it may take (on Linux); None where it is trusted with all there is.

    Raises:
        ApartError: it took more of either, was ended by what it was given, or could not begin.
    """
    task = pickle.dumps((work.__module__, work.__name__, given))
    command = [sys.executable, "-c", _CHILD.format(memory=memory)]
    try:
        done = subprocess.run(
            command,
            input=task,
            capture_output=True,
            timeout=seconds,
            check=True,
            env=os.environ | ONE_THREAD,
        )
    except subprocess.TimeoutExpired:
        raise ApartError(f"it took over {seconds} seconds") from None
    except subprocess.CalledProcessError:
        bound = "" if memory is None else f", or takes over {memory // MEBIBYTE} MiB of memory"
        raise ApartError(f"it is damaged{bound}") from None
    except OSError as error:
        raise ApartError(f"no process could be begun for it ({error.strerror})") from None
    return pickle.loads(done.stdout)  # written by ourselves, a moment ago


def _serve(memory: int | None) -> None:
    """Do one piece of work, as handed over on standard input."""
    output = sys.stdout.buffer
    sys.stdout = sys.stderr
    if memory is not None:
        _bound(memory)
    module, name, given = pickle.loads(sys.stdin.buffer.read())
    output.write(pickle.dumps(getattr(import_module(module), name)(*given)))
    output.flush()


def _bound(memory: int) -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))
    except (ImportError, ValueError, OSError):
        pass  # where the system knows no such bound, what unpacks is bounded alone
