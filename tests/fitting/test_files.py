"""Files are written whole or not at all, and by one process at a time."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from textwrap import dedent

import pytest

from slackwater.fitting import files
from slackwater.fitting.files import alone, write_whole

LOCK = ".slackwater.lock"
ROOT = Path(__file__).parents[2]


def others(folder: Path, *expected: str) -> set[str]:
    return {path.name for path in folder.iterdir()} - {LOCK, *expected}


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_content_replaces_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "plans.json"
    for content in (b"first", b"", b"\x00 third, longer"):
        write_whole(path, content)
        assert path.read_bytes() == content
    assert others(tmp_path, path.name) == set()


@pytest.fixture(params=[0o022, 0o000, 0o077])
def umask(request: pytest.FixtureRequest) -> Iterator[None]:
    before = os.umask(request.param)
    yield
    os.umask(before)


@pytest.mark.usefixtures("umask")
def test_a_new_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    write_whole(tmp_path / "plans.json", b"[]")
    assert mode(tmp_path / "plans.json") == 0o600


@pytest.mark.usefixtures("umask")
@pytest.mark.parametrize("given", [0o644, 0o660, 0o400])
def test_a_file_keeps_the_rights_that_its_owner_gave(tmp_path: Path, given: int) -> None:
    path = tmp_path / "plans.json"
    path.write_bytes(b"old")
    path.chmod(given)
    write_whole(path, b"new")
    assert (path.read_bytes(), mode(path)) == (b"new", given)


class Full:
    """Calls that fail as on a full disk."""

    def __call__(self, *given: object, **named: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("call", ["tempfile.mkstemp", "os.fsync", "os.fdopen"])
@pytest.mark.parametrize("there", [True, False])
def test_on_a_full_disk_what_was_there_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, there: bool
) -> None:
    path = tmp_path / "plans.json"
    if there:
        path.write_bytes(b"old")
    monkeypatch.setattr(call, Full())
    with pytest.raises(OSError, match="No space left on device") as caught:
        write_whole(path, b"new")
    what = "it was not written (No space left on device); make room or allow writing"
    error = caught.value
    assert (error.errno, error.strerror, error.filename) == (errno.ENOSPC, what, str(path))
    assert path.exists() == there
    assert not there or path.read_bytes() == b"old"
    assert others(tmp_path, path.name) == set()


def test_a_write_cut_short_leaves_what_was_there(tmp_path: Path) -> None:
    """The system takes a part of it and then no more: a limit on the size of files."""
    path = tmp_path / "plans.json"
    path.write_bytes(b"old")
    script = """
        import resource, sys
        from pathlib import Path
        from slackwater.fitting.files import write_whole

        resource.setrlimit(resource.RLIMIT_FSIZE, (100, resource.RLIM_INFINITY))
        try:
            write_whole(Path(sys.argv[1]), bytes(1000))
        except OSError as error:
            print(error.filename, error.strerror, sep=": ")
    """
    ran = run(script, path)
    said = "it was not written (File too large); make room or allow writing"
    assert ran == f"{path}: {said}\n"
    assert path.read_bytes() == b"old"
    assert others(tmp_path, path.name) == set()


def test_in_the_place_of_a_folder_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "plans.json"
    path.mkdir()
    with pytest.raises(OSError, match="it was not written") as caught:
        write_whole(path, b"new")
    assert caught.value.filename == str(path)
    assert others(tmp_path, path.name) == set()


def test_leftovers_are_cleared_when_the_folder_is_held_and_nothing_else_is(tmp_path: Path) -> None:
    (tmp_path / ".unfinished-abc").write_bytes(b"half")
    (tmp_path / ".unfinished-def").write_bytes(b"")
    (tmp_path / "unfinished-notes.txt").write_bytes(b"mine")
    write_whole(tmp_path / "plans.json", b"[]")  # which by itself clears nothing of others
    assert (tmp_path / ".unfinished-abc").exists()
    with alone(tmp_path):
        assert others(tmp_path, "plans.json") == {"unfinished-notes.txt"}


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    nowhere = tmp_path / "nowhere"
    with pytest.raises(FileNotFoundError, match="no such folder") as caught, alone(nowhere):
        raise AssertionError("held")
    assert caught.value.filename == str(nowhere)
    assert list(tmp_path.iterdir()) == []


def test_where_nothing_may_be_written_the_folder_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(lock: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(tmp_path / LOCK))

    monkeypatch.setattr("filelock.FileLock.acquire", refuse)
    with pytest.raises(PermissionError, match="nothing was written") as caught, alone(tmp_path):
        raise AssertionError("held")
    what = "nothing was written (Permission denied); make room or allow writing"
    assert (caught.value.strerror, caught.value.filename) == (what, str(tmp_path))


def test_what_fails_inside_lets_go_of_the_folder(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), alone(tmp_path):
        raise ZeroDivisionError
    with alone(tmp_path):
        pass


def test_who_waits_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_PATIENCE", 0.1)
    said: list[OSError] = []

    def other() -> None:
        try:
            with alone(tmp_path):
                raise AssertionError("held by two")
        except OSError as error:
            said.append(error)

    with alone(tmp_path):
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
    [error] = said
    assert error.filename == str(tmp_path)
    assert "another slackwater has been changing this season" in (error.strerror or "")


ADDING = """
    import sys
    from pathlib import Path
    from slackwater.fitting.files import alone, write_whole

    folder, name = Path(sys.argv[1]), sys.argv[2]
    path = folder / "lines"
    print("ready", flush=True)
    sys.stdin.readline()
    for number in range(40):
        with alone(folder):
            before = path.read_bytes() if path.exists() else b""
            write_whole(path, before + f"{name} {number}\\n".encode())
"""


def test_two_processes_at_once_lose_nothing_of_each_other(tmp_path: Path) -> None:
    processes = []
    for name in ("one", "two"):
        call = [sys.executable, "-c", dedent(ADDING), str(tmp_path), name]
        processes.append(
            subprocess.Popen(
                call, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
            )
        )
    for process in processes:
        assert process.stdout
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        process.communicate("go\n", timeout=60)
        assert process.returncode == 0
    lines = (tmp_path / "lines").read_text().splitlines()
    assert sorted(lines) == sorted(f"{n} {i}" for n in ("one", "two") for i in range(40))
    for name in ("one", "two"):  # each in its own order
        assert [line for line in lines if line.startswith(name)] == [
            f"{name} {number}" for number in range(40)
        ]
    assert others(tmp_path, "lines") == set()


def test_a_killed_process_lets_go_and_its_leftovers_go(tmp_path: Path) -> None:
    script = """
        import os, signal, sys
        from pathlib import Path
        from slackwater.fitting.files import alone, write_whole

        os.fsync = lambda file: os.kill(os.getpid(), signal.SIGKILL)
        with alone(Path(sys.argv[1])):
            write_whole(Path(sys.argv[1]) / "plans.json", b"new")
    """
    (tmp_path / "plans.json").write_bytes(b"old")
    killed = subprocess.run([sys.executable, "-c", dedent(script), str(tmp_path)], cwd=ROOT)
    assert killed.returncode < 0
    assert (tmp_path / "plans.json").read_bytes() == b"old"
    assert len(others(tmp_path, "plans.json")) == 1
    with alone(tmp_path):
        assert others(tmp_path, "plans.json") == set()


def run(script: str, *arguments: object) -> str:
    ran = subprocess.run(
        [sys.executable, "-c", dedent(script), *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout
