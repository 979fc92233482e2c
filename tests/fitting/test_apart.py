"""Processes apart, and what becomes of a pool's when the one that began them is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from slackwater.fitting.apart import ApartError, apart

POOL = """
import os, sys, time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from slackwater.fitting.apart import end_with_parent

if __name__ == "__main__":
    with ProcessPoolExecutor(2, get_context(sys.argv[1]), end_with_parent) as pool:
        print(pool.submit(os.getpid).result(), flush=True)
        time.sleep(60)
"""


def test_the_work_is_done_by_another_process() -> None:
    assert apart(os.getpid) != os.getpid()


def test_work_that_fails_is_told(tmp_path: Path) -> None:
    with pytest.raises(ApartError, match="damaged"):
        apart(os.remove, str(tmp_path / "nowhere"), seconds=None, memory=None)


def test_so_is_a_python_that_cannot_be_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with pytest.raises(ApartError, match="no process could be begun"):
        apart(os.getpid)


def runs(pid: int) -> bool:
    """Tell whether a process is there and has not ended."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


@pytest.mark.skipif(sys.platform != "linux", reason="looks for processes in /proc")
@pytest.mark.parametrize("begin", ["spawn", "forkserver"])
def test_a_pools_processes_end_when_the_one_that_began_them_is_killed(
    tmp_path: Path, begin: str
) -> None:
    script = tmp_path / "pool.py"
    script.write_text(POOL, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, str(script), begin], stdout=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        worker = int(running.stdout.readline())
        assert runs(worker)
        os.kill(running.pid, signal.SIGKILL)
        running.wait()
        end = time.monotonic() + 20
        while runs(worker) and time.monotonic() < end:
            time.sleep(0.05)
        assert not runs(worker)
