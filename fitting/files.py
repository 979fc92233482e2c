"""Files written whole or not at all, and by one process at a time."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

_UNFINISHED: Final = ".unfinished-"
_LOCK: Final = ".slackwater.lock"
_PATIENCE: Final = 30  # seconds to wait for another process


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, for its owner's eyes only where it is new.

    Args:
        path: where to.
        content: what it will hold.

    Raises:
        OSError: it cannot be written; what was there is left as it was.
    """
    try:
        _write_beside_and_replace(path, content)
    except OSError as error:
        what = f"it was not written ({error.strerror}); make room or allow writing"
        raise OSError(error.errno, what, str(path)) from None


def _write_beside_and_replace(path: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=_UNFINISHED, dir=path.parent)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileNotFoundError):
            unfinished.chmod(path.stat().st_mode)  # a file keeps the rights that its owner gave
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep other processes from changing a folder's files meanwhile; not to be nested.

    What is written into a season folder is written in here.

    Raises:
        OSError: another process does not let go of them, or there is no such folder, or it cannot
            be written to.
    """
    from filelock import FileLock, Timeout

    if not folder.is_dir():  # which the lock would make
        raise FileNotFoundError(errno.ENOENT, "there is no such folder to write to", str(folder))
    try:
        held = FileLock(folder / _LOCK, timeout=_PATIENCE).acquire()
    except Timeout:
        what = "another slackwater has been changing this season for half a minute; ask again"
        raise OSError(None, what, str(folder)) from None
    except OSError as error:
        what = f"nothing was written ({error.strerror}); make room or allow writing"
        raise OSError(error.errno, what, str(folder)) from None
    with held:
        for left in folder.glob(f"{_UNFINISHED}*"):  # by a process that was stopped half-way
            left.unlink(missing_ok=True)
        yield
