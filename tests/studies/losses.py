"""Whether a row is ever lost or a file torn: kills, full disks, many processes at once.

    python -m tests.studies.losses [--moments 150] [--fits 20]

Takes about ten minutes on one core, as root on Linux (it mounts a small file system in a
namespace of its own). Writes docs/nothing-lost.md.

Each command runs in a process of its own, forked from one that has everything loaded, and is ended
by SIGKILL: after a random share of the time that it takes, and before each single call to the
system by which it opens for writing, writes, cuts, syncs, renames, deletes or changes rights. Then
the season is read as any next command reads it.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy; threads do not live through a fork

import argparse
import datetime as dt
import io
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from slackwater.fitting import SeasonFolder
from slackwater.fitting.cli import main as command_line
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.files import alone
from slackwater.fitting.logbook import undo
from slackwater.model.errors import NoAnswerError
from tests.fitting.trials.by_hand import plan as trial_plan

PAGE: Final = Path(__file__).parents[2] / "docs" / "nothing-lost.md"
CALLS: Final = (
    "open", "write", "fsync", "ftruncate", "replace", "rename", "unlink", "chmod", "mkdir",
)  # fmt: skip
OURS: Final = (".slackwater.lock", ".slackwater.mornings", ".slackwater.journal")
NEXT: Final = dt.date(2031, 7, 7)
IMPORTED: Final = 60  # rows of the imported file
AT_ONCE: Final = 8  # processes
EACH: Final = 25  # entries of each of them
FULL: Final = "--on-a-small-file-system"

Act = Callable[[Path], None]


class Count(NamedTuple):
    """What came of many kills of one command.

    Attributes:
        command: the command.
        moments: kills at random moments.
        calls: kills before a call to the system.
        before: how often the season was then as before the command.
        after: how often as after it.
        rows: rows at stake, over all kills.
    """

    command: str
    moments: int
    calls: int
    before: int
    after: int
    rows: int


def command(*words: str) -> Act:
    """Return a command to be run on a folder; {} among its words stands for it."""

    def act(folder: Path) -> None:
        sys.argv = ["slackwater", *(word.format(folder) for word in words)]
        command_line()

    return act


def forked(act: Act, folder: Path, stop: int | None = None) -> int:
    """Run something in a process of its own; killed before its call number `stop`, if given."""
    child = os.fork()
    if child:
        return child
    try:
        with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
            if stop is not None:
                end_before(stop)
            act(folder)
    except SystemExit as end:
        os._exit(int(end.code or 0))
    except BaseException:
        traceback.print_exc(file=sys.__stderr__)
        os._exit(99)
    os._exit(0)


def end_before(stop: int) -> None:
    """Let this process be killed before one of its calls to the system that change something."""
    calls = iter(range(stop))

    def wrapped(call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*given: Any, **named: Any) -> Any:
            if next(calls, None) is None:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*given, **named)

        return counted

    for name in CALLS:
        setattr(os, name, wrapped(getattr(os, name)))


def ended(child: int) -> int:
    """Return how a process ended: its status, or minus the signal's number."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def held(folder: Path) -> dict[str, bytes]:
    """Return all that a season's folder holds, but for our own records."""
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.name not in OURS}


def rows_in(folder: Path) -> int:
    return sum(len(p.read_bytes().splitlines()) - 1 for p in folder.glob("*.csv"))


def fresh(start: Path, folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(start, folder)


def settled(folder: Path) -> dict[str, bytes]:
    """Read the season as the next command does, and return what the folder then holds."""
    checked = SeasonFolder(folder).checked
    assert checked.season is not None, checked.problems
    with alone(folder):  # clears what was left unfinished
        pass
    season = SeasonFolder(folder)
    assert season.trials is not None
    assert season.plans is not None
    if season.fitted:
        _ = season.posterior
    return held(folder)


def kills(name: str, act: Act, start: Path, moments: int, by_call: bool, undone: bool) -> Count:
    """Kill one command many times and see what is left each time.

    Raises:
        AssertionError: something is neither as before the command nor as after it.
    """
    folder = start.parent / "killed"
    rng = random.Random(name)
    before = held(start)
    fresh(start, folder)
    begun = time.perf_counter()
    status = ended(forked(act, folder))
    took = time.perf_counter() - begun
    assert status == 0, f"{name}: status {status}"
    after = settled(folder)
    stable = {k: v for k, v in after.items() if k.endswith(".csv")}
    tally = {"before": 0, "after": 0}
    ends: list[int | None] = [None] * moments
    if by_call:
        ends += range(calls_of(act, start, folder))
    for stop in ends:
        fresh(start, folder)
        child = forked(act, folder, stop)
        if stop is None:
            time.sleep(rng.uniform(0, took))
            os.kill(child, signal.SIGKILL)
        ended(child)
        now = settled(folder)
        was = {k: v for k, v in before.items() if k.endswith(".csv")}
        files = {k: v for k, v in now.items() if k.endswith(".csv")}
        assert files in (was, stable), f"{name}: neither before nor after, at {stop}"
        memory = now.get("season.toml")  # how a file was read, kept once its rows are in
        assert memory in (before.get("season.toml"), after.get("season.toml")), f"{name}: {stop}"
        assert now.keys() <= before.keys() | after.keys(), f"{name}: left over at {stop}"
        done = now != before
        tally["after" if done else "before"] += 1
        if undone and files == stable != was:
            undo(folder)
            assert {k: v for k, v in held(folder).items() if k.endswith(".csv")} == was
    calls, rows = len(ends) - moments, len(ends) * rows_in(start)
    return Count(name, moments, calls, tally["before"], tally["after"], rows)


def calls_of(act: Act, start: Path, folder: Path) -> int:
    """Return how many calls a command makes before it ends by itself."""
    low, high = 0, 4096
    while low < high:
        middle = (low + high) // 2
        fresh(start, folder)
        if ended(forked(act, folder, middle)) == -signal.SIGKILL:
            low = middle + 1
        else:
            high = middle
    return low


def many_at_once(start: Path) -> tuple[int, int]:
    """Log from many processes at once; return how many entries there are, and were undone."""
    folder = start.parent / "together"
    fresh(start, folder)

    def log(number: int) -> Act:
        def act(folder: Path) -> None:
            from slackwater.fitting.keeping.row import Row
            from slackwater.fitting.logbook import enter

            for n in range(EACH):
                day = NEXT + dt.timedelta(number * EACH + n)
                enter(folder, [Row("readings", {"date": day, "rmssd_ms": 60.0})], str(day))

        return act

    children = [forked(log(number), folder) for number in range(AT_ONCE)]
    assert not any(map(ended, children))
    there = rows_in(folder) - rows_in(start)
    assert there == AT_ONCE * EACH
    back = 0
    try:
        while True:
            undo(folder)
            back += 1
    except NoAnswerError:
        assert held(folder) == held(start)
    return there, back


def on_a_small_file_system(folder: Path) -> None:
    """Run commands with less and less room left, then without the right to write; print counts."""
    season, filler = folder / "season", folder / "filler"
    done = refused = 0
    stressor = command("log", "stressor", "{}", "head cold", "--date", str(NEXT))
    for words in (
        ("log", "reading", "{}", "66", "--date", str(NEXT)),
        ("log", "session", "{}", "hill run", "--dose", "0.5", "--date", str(NEXT)),
        ("import", f"{folder}/nights.csv", "{}", "--yes"),
        ("log", "undo", "{}"),
    ):
        for room in range(24):  # pages
            shutil.rmtree(season, ignore_errors=True)
            filler.unlink(missing_ok=True)
            copy_demo(season)
            (folder / "nights.csv").write_text(nights())
            if words[1] == "undo":
                assert ended(forked(stressor, season)) == 0
            before = held(season)
            fill(filler, room)
            status = ended(forked(command(*words), season))
            filler.unlink()
            now = settled(season)
            assert status in (0, 2), f"{words}: {status}"
            if status:
                refused += 1
                assert now == before, f"{words}, {room} pages: changed although refused"
            else:
                done += 1
                assert now != before
    tell(done, refused)
    subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    before = held(season)
    assert ended(forked(command("log", "reading", "{}", "70", "--date", "2031-07-20"), season)) == 2
    assert ended(forked(command("check", "{}"), season)) == 0
    assert held(season) == before


def fill(path: Path, room: int) -> None:
    """Fill the file system but for so many pages of 4 KiB."""
    with path.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(bytes(4096)):
            pass
    os.truncate(path, max(0, path.stat().st_size - room * 4096))


def nights() -> str:
    days = [NEXT + dt.timedelta(n) for n in range(IMPORTED)]
    return "date,rmssd_ms\n" + "".join(f"{day},{60 + n % 7}\n" for n, day in enumerate(days))


def keep_a_fit(folder: Path) -> None:
    """Write a posterior in the place of the one before, as `fit` does once it has sampled."""
    season = SeasonFolder(folder)
    season.learn(replace(season.posterior, seed=1))


def commands(at: Path) -> Iterator[tuple[str, Act, bool, bool]]:
    """Yield each command: what it is called, how it is run, whether undone, whether slow."""
    day = str(NEXT)
    yield "log reading", command("log", "reading", "{}", "66", "--date", day), True, False
    dose = ("--dose", "0.5", "--date", day)
    yield "log session", command("log", "session", "{}", "hill run", *dose), True, False
    imported = command("import", str(at / "nights.csv"), "{}", "--yes")
    yield f"import, {IMPORTED} rows", imported, False, False
    yield "trial plan, its record", record_a_trial, False, False
    wish = ("--want", "hill run:1", "--days", "10", "--keep")
    yield "spacing --keep", command("spacing", "{}", *wish), False, False
    yield "fit, its posterior", keep_a_fit, False, False
    yield "fit", command("fit", "{}"), False, True


def tell(*words: object) -> None:
    """Write a line of progress."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def record_a_trial(folder: Path) -> None:
    """Write a planned trial down, as `trial plan` does once it is planned."""
    SeasonFolder(folder).record(trial_plan())


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Kill commands, and count what is lost.")
    parser.add_argument("--moments", type=int, default=150, help="kills of each command")
    parser.add_argument("--fits", type=int, default=20, help="kills of a whole fit")
    parser.add_argument(FULL, type=Path, dest="full", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.full:
        on_a_small_file_system(given.full)
        return
    with tempfile.TemporaryDirectory() as name:
        at = Path(name)
        start = at / "start"
        copy_demo(start)
        (at / "nights.csv").write_text(nights())
        small = at / "small"
        small.mkdir()
        mounted = f"mount -t tmpfs -o size=1m tmpfs {small} && exec {sys.executable} -m "
        ran = subprocess.run(
            ["unshare", "-m", "sh", "-c", f"{mounted}tests.studies.losses {FULL} {small}"],
            capture_output=True,
            text=True,
            check=False,
        )
        assert ran.returncode == 0, ran.stderr
        full = ran.stdout.split()
        tell("full disk", *full)
        together = many_at_once(start)
        tell("at once", *together)
        assert ended(forked(command("fit", "{}"), start)) == 0
        counts = []
        for called, act, undone, slow in commands(at):
            many = given.fits if slow else given.moments
            counts.append(kills(called, act, start, many, by_call=not slow, undone=undone))
            tell(*counts[-1])
            if called == "log reading":
                logged = at / "logged"
                shutil.copytree(start, logged)
                assert ended(forked(act, logged)) == 0
                back = command("log", "undo", "{}")
                counts.append(kills("log undo", back, logged, given.moments, True, undone=False))
                tell(*counts[-1])
        PAGE.write_text(page(counts, full, together), encoding="utf-8")


def page(counts: list[Count], full: list[str], together: tuple[int, int]) -> str:
    kills_in_all = sum(c.moments + c.calls for c in counts)
    rows = sum(c.rows for c in counts)
    table = "\n".join(
        f"| {c.command} | {c.moments} | {c.calls} | {c.before} | {c.after} | 0 |" for c in counts
    )
    return (
        "# Nothing lost\n"
        "\n"
        "Whatever happens while slackwater writes, a row that was there stays, no file is torn,"
        " and what was entered is there whole or not at all. This page says how that was tried;"
        " `python -m tests.studies.losses` tries it again and writes it.\n"
        "\n"
        "## Kills\n"
        "\n"
        f"Each command was ended by SIGKILL, {kills_in_all:,} times in all: after a random share"
        " of the time that it takes, and before each single call to the system by which it "
        "opens a file, writes, cuts, syncs, renames, deletes or changes rights. Then the season"
        f" was read as the next command reads it. {rows:,} rows of the athlete's were at stake, "
        "counting each row at each kill; none was lost, and each file was byte for byte as "
        "before the command or as after it.\n"
        "\n"
        "| command | kills at random moments | kills before a call | then as before | then as "
        "after | torn or lost |\n"
        "| --- | ---: | ---: | ---: | ---: | ---: |\n"
        f"{table}\n"
        "\n"
        "An entry that was cut short between two files is finished by whichever command reads "
        "the season next; one of which no file was changed yet never took place. After each "
        "kill that left `log` done, `log undo` put every file back byte for byte. `trial plan` "
        "and `fit` work for long and write at the end: kills of those lines fall into the "
        "writing. `import` remembers in `season.toml` how the file was read once its rows are "
        "in, so a kill between the two costs a question the next time, and no row.\n"
        "\n"
        "## A full disk, and one that may not be written to\n"
        "\n"
        "On a file system of 1 MB (a tmpfs, mounted for the test) `log`, `import` and `log "
        f"undo` ran with less and less room left, from 92 KiB to none: {full[0]} times all was "
        f"written, {full[1]} times the command said so with exit status 2, and the season was as"
        " before. Mounted read-only, `log` is refused in the same way, and `check` answers.\n"
        "\n"
        "## Many at once\n"
        "\n"
        f"{AT_ONCE} processes logged {EACH} readings each into one season at the same time: "
        f"{together[0]} of {AT_ONCE * EACH} were there afterwards, and {together[1]} steps of "
        "`log undo` led back to where they began.\n"
        "\n"
        "## What a sync service changes meanwhile\n"
        "\n"
        "Before a file is put in place, it is read once more: where another program has changed"
        " it since, the row is entered into what stands there now (after five such changes in a"
        " row, slackwater refuses and says so). Between that look and the renaming lie "
        "microseconds, in which another program's change would be overtaken; no file system "
        "that all systems share can close that gap.\n"
        "\n"
    )


if __name__ == "__main__":
    main()
