"""Nobody's data leave their machine, and nothing is written outside the season and its caches.

The whole job runs in processes whose every socket is refused, and that tell every file which they
open for writing, make, rename or delete (Python's audit events, PEP 578; what the sealed posterior
is made of is written by HDF5 into memory).
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Final, NamedTuple

import pytest

WATCH: Final = """
import os, sys

told = os.open(os.environ["TOLD"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
CHANGING = {"os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.chmod",
            "os.truncate", "shutil.copyfile", "shutil.move"}
NETWORK = ("socket.connect", "socket.bind", "socket.getaddrinfo", "socket.sendto", "urllib.Request",
           "socket.gethostbyname", "http.client.connect")

def watch(event, given):
    if event in NETWORK:
        os.write(told, f"network {event} {given!r}\\n".encode())
        raise OSError("no network here")
    if event == "open":
        path, mode, flags = given
        if isinstance(path, str) and isinstance(flags, int) and flags & WRITING:
            os.write(told, f"write {os.path.abspath(path)}\\n".encode())
    elif event in CHANGING:
        for path in given[:2] if event in ("os.rename", "os.link") else given[:1]:
            if isinstance(path, (str, os.PathLike)):
                os.write(told, f"write {os.path.abspath(path)}\\n".encode())

sys.addaudithook(watch)
"""
JOB: Final = (
    ("demo", "season"),
    ("log", "reading", "season", "66", "--date", "2031-07-07"),
    ("log", "session", "season", "hill run", "--date", "2031-07-07"),
    ("log", "undo", "season"),
    ("baseline", "season", "--json"),
    ("spacing", "season", "--want", "hill run:1", "--days", "10", "--keep"),
    ("report", "season"),
)


class Watched(NamedTuple):
    """What the whole job did: what it said on the way, where it wrote, whom it called."""

    here: Path
    said: list[str]
    written: set[Path]
    network: list[str]


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Watched:
    at = tmp_path_factory.mktemp("watched")
    here, told, watch = at / "here", at / "told", at / "watch"
    here.mkdir()
    watch.mkdir()
    (watch / "sitecustomize.py").write_text(WATCH)
    paths = [str(watch), *filter(None, [os.environ.get("PYTHONPATH")])]
    env = os.environ | {"PYTHONPATH": os.pathsep.join(paths), "TOLD": str(told)}
    said = []
    for words in JOB:
        ran = subprocess.run(
            [sys.executable, "-m", "slackwater.fitting", *words],
            cwd=here,
            env=env,
            capture_output=True,
            text=True,
        )
        assert ran.returncode == 0, f"{words}: {ran.stderr}"
        said.append(ran.stdout)
    lines = told.read_text().splitlines()
    written = {Path(line.removeprefix("write ")) for line in lines if line.startswith("write ")}
    return Watched(here, said, written, [line for line in lines if line.startswith("network ")])


@pytest.mark.slow
def test_the_whole_job_asks_nothing_of_any_network(watched: Watched) -> None:
    assert watched.network == []
    assert "was expected of you" in " ".join(watched.said[1].split())


@pytest.mark.slow
def test_the_watch_sees_a_call_and_a_write(tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text(WATCH)
    code = (
        f"import socket; open({str(tmp_path / 'x')!r}, 'w')\nsocket.create_connection(('::1', 9))"
    )
    env = os.environ | {"PYTHONPATH": str(tmp_path), "TOLD": str(tmp_path / "told")}
    ran = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True)
    assert "no network here" in ran.stderr
    told = (tmp_path / "told").read_text()
    assert f"write {tmp_path / 'x'}\n" in told
    assert "network socket.getaddrinfo" in told


@pytest.mark.slow
def test_nothing_is_written_but_into_the_season_and_the_caches_that_are_named(
    watched: Watched,
) -> None:
    """DEVELOPERS.md names the caches: PyTensor's, numba's, matplotlib's and ArviZ's."""
    from pytensor import config

    cache = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    own = Path(os.environ.get("XDG_CONFIG_HOME", Path.home() / ".config"))
    caches = [
        Path(config.base_compiledir),
        Path(os.environ.get("NUMBA_CACHE_DIR", "/nowhere")),
        Path(os.environ.get("MPLCONFIGDIR", cache / "matplotlib")),
        cache / "matplotlib",
        own / "matplotlib",
        cache / "arviz",
    ]
    season = watched.here / "season"
    elsewhere = {
        path
        for path in watched.written
        if not path.is_relative_to(season)
        and not any(path.is_relative_to(cache) for cache in caches)
        and "__pycache__" not in path.parts
        and path != Path(os.devnull)
    }
    assert elsewhere == set()
    names = {path.name for path in season.iterdir()}
    assert names == {
        "readings.csv", "sessions.csv", "types.csv", "interventions.csv", "stressors.csv",
        "posterior.nc", "plans.json", "report.html",
        ".slackwater.lock", ".slackwater.journal", ".slackwater.mornings",
    }  # fmt: skip
