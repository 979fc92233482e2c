"""The checkout is laid out as pyproject.toml needs it, and the installed project says who it is.

What a built wheel holds is checked by check_wheel.py, which CI runs: building is too slow for here.
"""

from __future__ import annotations

import subprocess
import tomllib
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("model", "fitting")
FOLDERS = (*PACKAGES, "demo_data")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", *FOLDERS, "tests", "docs"}


@pytest.fixture(scope="module")
def pyproject() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def tracked_files() -> dict[str, str]:
    """Map each file that git tracks to its mode; skip where git tracks nothing."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    listing = subprocess.run(
        ["git", "-C", str(ROOT), "ls-files", "-z", "--stage"],
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    staged = [line.split("\t", 1) for line in listing.split("\0") if line]
    if not staged:
        pytest.skip("git tracks no file here yet")
    return {name: entry.split()[0] for entry, name in staged}


def test_licence_is_the_declared_file_and_licence(pyproject: dict[str, Any]) -> None:
    # hatch says nothing when license-files matches no file.
    project = pyproject["project"]
    assert project["license"] == "MIT"
    [licence] = project["license-files"]
    text = (ROOT / licence).read_text(encoding="utf-8")
    assert text.startswith("MIT License\n")
    assert "Copyright (c) 2026 The slackwater contributors" in text


def test_installed_metadata_is_that_of_pyproject(pyproject: dict[str, Any]) -> None:
    assert metadata.version("slackwater") == pyproject["project"]["version"]
    installed = metadata.metadata("slackwater")
    assert installed["License-Expression"] == "MIT"
    assert installed.get_all("License-File") == pyproject["project"]["license-files"]
    [script] = metadata.entry_points(group="console_scripts", name="slackwater")
    assert script.value == pyproject["project"]["scripts"]["slackwater"]


@pytest.mark.parametrize("package", PACKAGES)
def test_every_folder_of_code_is_a_regular_package(package: str) -> None:
    folders = {path.parent for path in (ROOT / package).rglob("*.py")}
    without_init = [
        str(path.relative_to(ROOT)) for path in folders if not (path / "__init__.py").exists()
    ]
    assert folders, f"{package}/ holds no code"
    assert not without_init, "each of these folders needs an __init__.py"


@pytest.mark.parametrize("package", PACKAGES)
def test_packages_say_that_they_are_typed(package: str) -> None:
    assert (ROOT / package / "py.typed").is_file()


@pytest.mark.parametrize("folder", FOLDERS)
def test_src_link_points_at_its_folder(folder: str) -> None:
    link = ROOT / ".src" / "slackwater" / folder
    if not link.is_symlink():
        pytest.skip(f"{link.relative_to(ROOT)} is no symbolic link in this checkout")
    assert link.readlink() == Path("../..") / folder
    assert link.resolve() == ROOT / folder


def test_src_links_are_committed_as_links() -> None:
    modes = {name: mode for name, mode in tracked_files().items() if name.startswith(".src/")}
    assert modes == {f".src/slackwater/{folder}": "120000" for folder in FOLDERS}


def test_top_level_holds_only_what_belongs_there() -> None:
    top = {name.split("/", 1)[0] for name in tracked_files()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_gitignore_hides_no_data_file() -> None:
    # hatch leaves ignored files out of the wheel, so an unanchored pattern can empty demo_data/.
    lines = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    patterns = [line for line in lines if line and not line.startswith("#")]
    assert [line for line in patterns if not line.startswith("/")] == ["__pycache__/"]
