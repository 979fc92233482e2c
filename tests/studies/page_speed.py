"""How soon the page answers, and what it takes: `python -m tests.studies.page_speed`.

Writes docs/page-speed.md. The page runs in a process of its own, by its command, on the demo
season; it is asked over HTTP as a browser asks.
"""

from __future__ import annotations

import datetime as dt
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting import SeasonFolder
from slackwater.fitting.demo import copy_demo

PAGE: Final = Path(__file__).parents[2] / "docs" / "page-speed.md"
VIEWS: Final = 1000
ENTRIES: Final = 40  # of readings, and as many of sessions
FIRST: Final = dt.date(2031, 7, 7)  # the morning after the demo's last
TYPES: Final = ("easy paddle", "steady row", "row intervals")


class Opened:
    """The page in a process of its own, and a visitor of it."""

    def __init__(self, folder: Path) -> None:
        self.begun = time.perf_counter()
        command = [sys.executable, "-m", "slackwater.fitting", "open", str(folder)]
        self.process = subprocess.Popen(
            [*command, "--port", "0", "--no-browser"], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        link = [next(self.process.stdout).strip() for _ in range(2)][-1]
        self.link_after = time.perf_counter() - self.begun
        self._opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        page, self.home = self._read(link)
        self.view_after = time.perf_counter() - self.begun
        found = re.search(r'name="token" value="([^"]+)"', page)
        assert found
        self._token = found[1]

    def timed(self, view: str, **form: str) -> tuple[float, float]:
        """Return how long a view took, or a form with the view that says what it did.

        Returns:
            By the clock and of a processor, ms both.
        """
        data = None
        if form:
            data = urllib.parse.urlencode({"token": self._token, **form}).encode()
        begun, worked = time.perf_counter(), self.worked()
        page, where = self._read(f"{self.home}{view}", data)
        taken = 1000 * (time.perf_counter() - begun), self.worked() - worked
        assert not form or "done=" in where, page
        return taken

    def worked(self) -> float:
        """Return how long processors have worked for the process, ms; NaN where nothing tells."""
        threads = Path(f"/proc/{self.process.pid}/task").glob("*/schedstat")
        told = [int(thread.read_text().split()[0]) for thread in threads]
        return sum(told) / 1e6 if told else float("nan")

    def memory(self) -> float:
        """Return the resident memory of the process, MiB; NaN where the system does not tell."""
        status = Path(f"/proc/{self.process.pid}/status")
        if not status.exists():
            return float("nan")
        found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text())
        return float("nan") if found is None else int(found[1]) / 1024

    def end(self) -> None:
        self.process.terminate()
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.process.wait()

    def _read(self, address: str, data: bytes | None = None) -> tuple[str, str]:
        with self._opener.open(address, data) as answer:
            return answer.read().decode(), answer.geturl().split("?done")[0] if data is None else (
                answer.geturl()
            )


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "demo"
        copy_demo(folder)
        SeasonFolder(folder).fit()
        starts = [start(folder) for _ in range(3)]
        page = Opened(folder)
        for _ in range(3):  # everything loaded, as on any but the first minute of a day
            page.timed("")
        rows = [("morning view", [page.timed("") for _ in range(200)])]
        rows += entries(page)
        memory = [page.memory()]
        for _ in range(2):
            for _ in range(VIEWS // 2):
                page.timed("")
            memory.append(page.memory())
        page.end()
    PAGE.write_text(text(starts, rows, memory), encoding="utf-8")


def start(folder: Path) -> tuple[float, float]:
    page = Opened(folder)
    page.end()
    return page.link_after, page.view_after


def entries(page: Opened) -> list[tuple[str, list[tuple[float, float]]]]:
    """Enter readings and sessions, day by day."""
    readings: list[tuple[float, float]] = []
    sessions: list[tuple[float, float]] = []
    rng = np.random.default_rng(1)
    for day in (FIRST + dt.timedelta(days=i) for i in range(ENTRIES)):
        ms = f"{66 + 3 * rng.standard_normal():.1f}"
        readings.append(page.timed("reading", ms=ms, date=str(day), sure="yes"))
        time.sleep(0.5)  # nobody's next entry comes sooner
        if day.toordinal() % 4 == 0:
            label = TYPES[day.toordinal() % 3]
            sessions.append(page.timed("event", type=label, day=str(day), sure="yes"))
            time.sleep(0.5)
    half = ENTRIES // 2
    return [
        (f"reading, entered and answered, {half} days from a fit on", readings[:half]),
        (f"the same, {half} days later, without a new fit", readings[half:]),
        ("session, the same", sessions),
    ]


def text(starts: Any, rows: list[tuple[str, Any]], memory: list[float]) -> str:
    link, view = (float(np.median([each[i] for each in starts])) for i in (0, 1))
    table = "\n".join(
        f"| {name} | {len(ms)} | {middle[0]:.0f} ms | {rarely[0]:.0f} ms | {middle[1]:.0f} ms |"
        for name, ms in rows
        for middle, rarely in [np.quantile(ms, [0.5, 0.99], axis=0)]
    )
    before, half, after = memory
    return f"""# How soon the page answers

Written by `python -m tests.studies.page_speed`, Python {platform.python_version()}, on the demo \
season, the page in a process of its own and asked over HTTP{_load()}.

| | how many | median | 99 in 100 within | of which a processor works (median) |
| --- | --- | --- | --- | --- |
{table}

- From the command to the opening link {link:.1f} s, to the first view {view:.1f} s (median of \
{len(starts)}).
- Memory: {before:.0f} MiB, after {VIEWS // 2} views {half:.0f} MiB, after {VIEWS} \
{after:.0f} MiB.

The aims are 100 ms for an entry at the median, 300 ms for 99 in 100, and 2 s from the command to \
the first view, with the machine to itself{_missed(rows, view)}. An entry is answered with the \
view that says what it means: the files are written, what changed is read and checked, the new \
morning is taken in for each draw of the posterior, and the answer of the morning is worked out \
anew. What the next entry is held against is worked out once that was answered. A view asked for \
again is not worked out again.
"""


def _missed(rows: list[tuple[str, Any]], view: float) -> str:
    """Return by how much the aims are missed; empty where none is."""
    said = []
    for name, ms in rows:
        middle, rarely = np.quantile([clock for clock, _ in ms], [0.5, 0.99])
        if middle > 100 or rarely > 300:
            over = max(0.0, middle - 100), max(0.0, rarely - 300)
            said.append(f"{name}, by {over[0]:.0f} and {over[1]:.0f} ms")
    if view > 2:
        said.append(f"the first view by {view - 2:.1f} s")
    return f"; here they are missed: {', '.join(said)}" if said else ""


def _load() -> str:
    """Return how busy the machine was besides, where the system tells."""
    if not hasattr(os, "getloadavg"):
        return ""
    busy = os.getloadavg()[1]
    return f"; over these five minutes, {busy:.0f} processes wanted the {os.cpu_count()} cores"


if __name__ == "__main__":
    main()
