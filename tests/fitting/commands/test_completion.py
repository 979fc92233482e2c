"""What the Tab key offers, asked as each shell asks."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from slackwater.fitting.demo import copy_demo

TYPES = {"hill run", "steady row", "easy paddle", "row intervals", "heavy lifting"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("completion")
    copy_demo(place / "demo")
    return place


def offered(place: Path, typed: str, shell: str = "zsh") -> set[str]:
    """Ask in a process of its own for what can follow, the last word being incomplete."""
    words = typed.split("|")
    line, at = " ".join(words), str(len(words) - 1)
    if shell == "fish":
        at = words[-1]
    ran = subprocess.run(
        [sys.executable, "-c", "from slackwater.fitting.cli import main; main()"],
        cwd=place,
        env=os.environ
        | {"_SLACKWATER_COMPLETE": f"{shell}_complete", "COMP_WORDS": line, "COMP_CWORD": at},
        capture_output=True,
        text=True,
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    lines = ran.stdout.splitlines()
    if shell == "zsh":  # three lines each: type, value, help
        return set(lines[1::3])
    return {line.split(",", 1)[1].split("\t")[0] for line in lines}


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_commands_and_names_are_offered_in_each_shell(folder: Path, shell: str) -> None:
    assert offered(folder, "slackwater|rec", shell) == {"recovery"}
    assert offered(folder, "slackwater|trial|led", shell) == {"ledger"}
    found = offered(folder, "slackwater|compare|demo|--intervention|b", shell)
    assert {name.replace("\\", "") for name in found} == {"beet juice"}
    assert offered(folder, "slackwater|elements|demo|--attribute|m", shell) == {"mode"}


@pytest.mark.parametrize(
    ("typed", "names"),
    [
        ("compare|demo|--types|", TYPES),
        ("compare|demo|--types|'hill run'|s", {"steady row"}),
        ("repeats|demo|--type|h", {"hill run", "heavy lifting"}),
        ("compare|demo|--intervention|", {"river dip", "beet juice"}),
        ("trial|plan|demo|--measure|r", {"river dip"}),
        ("elements|demo|--attribute|", {"mode", "effort"}),
        ("compare|demo|--attribute|", {"mode", "effort"}),
        ("compare|demo|--attribute|mode|", {"row", "lift", "run"}),
        ("compare|demo|--attribute|effort|hard|m", {"moderate"}),
        ("forecast|demo|--session|2031-07-08:st", {"2031-07-08:steady row"}),
        ("forecast|demo|--session|20", set()),
        ("spacing|demo|--want|hill", {"hill run:"}),
        ("spacing|demo|--want|'hill run:1'|--fixed|2031-07-08:hi", {"2031-07-08:hill run"}),
        ("repeats|nowhere|--type|", set()),
        ("compare|--types|h", set()),
    ],
)
def test_names_of_the_season_are_offered(folder: Path, typed: str, names: set[str]) -> None:
    assert offered(folder, f"slackwater|{typed}") == names


def test_a_season_folder_is_left_to_the_shell(folder: Path) -> None:
    asked = {"_SLACKWATER_COMPLETE": "bash_complete", "COMP_CWORD": "2"}
    ran = subprocess.run(
        [sys.executable, "-c", "from slackwater.fitting.cli import main; main()"],
        env=os.environ | asked | {"COMP_WORDS": "slackwater recovery de"},
        capture_output=True,
        text=True,
    )
    assert ran.stdout == "dir,de\n"


def test_other_dialects_are_read_and_broken_files_offer_nothing(tmp_path: Path) -> None:
    season = tmp_path / "demo"
    season.mkdir()
    (season / "season.toml").write_text(
        '[csv]\nseparator = ";"\nencoding = "latin-1"\n[columns.sessions]\ntype = "Übung"\n',
        encoding="utf-8",
    )
    (season / "sessions.csv").write_bytes("date;Übung\n2031-01-20;Hügel\n".encode("latin-1"))
    assert offered(tmp_path, "slackwater|repeats|demo|--type|") == {"Hügel"}
    for broken in (b"\xff\xfe\x00", b"", b"date\n2031-01-20\n"):
        (season / "sessions.csv").write_bytes(broken)
        assert offered(tmp_path, "slackwater|repeats|demo|--type|") == set()
    (season / "season.toml").write_text("csv = 3\n", encoding="utf-8")
    assert offered(tmp_path, "slackwater|repeats|demo|--type|") == set()


def test_completing_imports_nothing_heavy(folder: Path) -> None:
    code = (
        "import sys, atexit; from slackwater.fitting.cli import main\n"
        "heavy = {'numpy', 'pandas', 'xarray', 'pydantic', 'rich', 'pymc'}\n"
        "atexit.register(lambda: print(sorted(heavy & set(sys.modules)), file=sys.stderr))\n"
        "main()"
    )
    asked = {"_SLACKWATER_COMPLETE": "zsh_complete", "COMP_CWORD": "4"}
    ran = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env=os.environ | asked | {"COMP_WORDS": "slackwater repeats demo --type h"},
        capture_output=True,
        text=True,
    )
    assert "hill run" in ran.stdout
    assert ran.stderr == "[]\n"


BASH = shutil.which("bash") or ""


@pytest.mark.skipif(not BASH, reason="bash is not there")
@pytest.mark.parametrize(
    ("words", "reply"),
    [
        ("slackwater repeats demo --type hi", r"<hill\ run>"),
        ("slackwater log session demo hi", r"<hill\ run>"),
        ("slackwater log intervention demo ri", r"<river\ dip>"),
        ("slackwater log stressor demo he", r"<head\ cold>"),
        ("slackwater repeats demo --type '\"hi'", "<hill run>"),
        (r"slackwater compare demo --types 'hill\ run' st", r"<steady\ row>"),
        ("slackwater forecast demo --session '\"2031-07-08:hi'", "<2031-07-08:hill run>"),
    ],
)
def test_bash_gets_names_that_it_can_insert(
    folder: Path, tmp_path: Path, words: str, reply: str
) -> None:
    program = tmp_path / "slackwater"
    program.write_text(
        f"#!{sys.executable}\nfrom slackwater.fitting.cli import main\nmain()\n", encoding="utf-8"
    )
    program.chmod(0o755)
    call = (
        f"PATH={shlex.quote(str(tmp_path))}:$PATH\n"
        'eval "$(_SLACKWATER_COMPLETE=bash_source slackwater)"\n'
        f"COMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))\n"
        "_slackwater_completion slackwater\n"
        "printf '<%s>' \"${COMPREPLY[@]}\"\n"
    )
    ran = subprocess.run([BASH, "-c", call], cwd=folder, capture_output=True, text=True)
    assert ran.stdout == reply, ran.stderr
