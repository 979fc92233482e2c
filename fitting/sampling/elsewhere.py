"""A call in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from typing import Any, Final

import cloudpickle

_READ_AND_CALL: Final = (
    "import pickle, sys; work, given = pickle.load(sys.stdin.buffer); work(*given)"
)


def run_elsewhere(work: Callable[..., Any], *given: Any) -> bool:
    """Call a function in a new process of the same Python; tell whether it came to its end.

    Args:
        work: what it returns is left there.
        *given: its arguments, functions and graphs among them, if so.
    """
    path = os.pathsep.join(folder or os.curdir for folder in sys.path)
    try:
        ran = subprocess.run(
            [sys.executable, "-c", _READ_AND_CALL],
            input=cloudpickle.dumps((work, given)),
            env={**os.environ, "PYTHONPATH": path},
            capture_output=True,
        )
    except OSError:
        return False
    return ran.returncode == 0
