"""Files read within bounds, written whole or not at all, and by one process at a time."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

_UNFINISHED: Final = ".unfinished-"
_LOCK: Final = ".slackwater.lock"
_PATIENCE: Final = 30  # seconds to wait for another process

MEBIBYTE: Final = 2**20
MOST_OF_A_TEXT: Final = 16 * MEBIBYTE  # 40 years of nights are under 1 MiB


def new_folder(path: Path) -> None:
    """Make a season's folder where there is none: a body's data are their owner's alone."""
    path.mkdir(mode=0o700, parents=True, exist_ok=True)


def stamp(path: Path) -> tuple[int, ...]:
    """Return what tells that a file was written anew.

    Raises:
        OSError: it is not there, or cannot be looked at.
    """
    told = path.stat()
    return told.st_mtime_ns, told.st_size, told.st_ino


def read_whole(path: Path, most: int = MOST_OF_A_TEXT) -> bytes:
    """Return what a file holds; a pipe is not waited for, and a device not read.

    Args:
        path: the file, or a link to it.
        most: bytes that it may hold; no more are read.

    Raises:
        OSError: there is no such file (`FileNotFoundError`), it is none (`EISDIR` for a folder,
            `ENOTSUP` for a pipe, a socket or a device), it is larger (`EFBIG`), or cannot be read.
    """
    # On Windows a folder cannot be opened, and line ends would be changed.
    how = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    kind = path.stat().st_mode  # before opening, which alone may do something to a device
    if stat.S_ISDIR(kind):
        raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
    if not stat.S_ISREG(kind):
        raise OSError(errno.ENOTSUP, "it is a pipe, a socket or a device", str(path))
    with os.fdopen(os.open(path, how), "rb") as file:
        content = file.read(most + 1)
    if len(content) > most:
        what = f"it holds more than {most // MEBIBYTE} MiB, the most that is read"
        raise OSError(errno.EFBIG, what, str(path))
    return content


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, for its owner's eyes only where it is new.

    Args:
        path: where to.
        content: what it will hold.

    Raises:
        OSError: it cannot be written; what was there is left as it was.
    """
    write_together({path: content})


def write_together(
    contents: Mapping[Path, bytes | None], ready: Callable[[], None] = lambda: None
) -> None:
    """Write several files, each whole or not at all, and none where one finds no room.

    Args:
        contents: where to, and what each will hold; None where it is to be deleted.
        ready: called when all find room, before the first is changed; may refuse by raising.

    Raises:
        OSError: one cannot be written. What was there is left as it was, unless it is the
            putting in place that fails, one file after another, which takes no more room.
    """
    beside: dict[Path, Path] = {}
    try:
        for path, content in contents.items():
            with _named(path):
                if content is not None:
                    _write_beside(path, content, beside)
        ready()
        for path in contents:
            with _named(path):
                if path in beside:
                    beside[path].replace(_real(path))
                else:
                    path.unlink(missing_ok=True)
    finally:
        for unfinished in beside.values():
            unfinished.unlink(missing_ok=True)


def _write_beside(path: Path, content: bytes, beside: dict[Path, Path]) -> None:
    handle, name = tempfile.mkstemp(prefix=_UNFINISHED, dir=_real(path).parent)
    beside[path] = Path(name)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    with suppress(FileNotFoundError):
        beside[path].chmod(path.stat().st_mode)  # a file keeps the rights that its owner gave


def _real(path: Path) -> Path:
    """Return where a file is, through a link that stands in its place."""
    return path.resolve() if path.is_symlink() else path


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """Let an error name the file and the mend."""
    try:
        yield
    except OSError as error:
        what = f"it was not written ({error.strerror}); make room or allow writing"
        raise OSError(error.errno, what, str(path)) from None


def append(path: Path, line: bytes, whole: int) -> None:
    """Add a line to a file, for its owner's eyes only where it is new.

    Args:
        path: the file.
        line: what is added.
        whole: how many of its bytes are whole; what stands behind them, cut short, is dropped.

    Raises:
        OSError: it cannot be written; the whole part is left as it was.
    """
    with _named(path):
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            os.ftruncate(handle, whole)
            try:
                _write_all(handle, line, whole)
                os.fsync(handle)
            except OSError:
                os.ftruncate(handle, whole)
                raise
        finally:
            os.close(handle)


def _write_all(handle: int, content: bytes, at: int) -> None:
    os.lseek(handle, at, os.SEEK_SET)
    while content:
        content = content[os.write(handle, content) :]


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
