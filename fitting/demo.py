"""The demo season and the demo squad that come with the package."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final

from slackwater.fitting.files import alone, write_whole
from slackwater.model.errors import QuestionError

DEMO_FOLDER: Final = "slackwater-demo"
DEMO_SQUAD: Final = "slackwater-demo-squad"
_DATA: Final = "slackwater.demo_data"


def copy_demo(folder: Path) -> None:
    """Copy the demo season's files into a folder, making it if need be.

    Args:
        folder: an empty or new folder, or one that already holds the demo season.

    Raises:
        QuestionError: the folder holds other season files, or is a file.
    """
    _copy({folder: _held(files(_DATA), ".csv")}, "slackwater demo FOLDER")


def copy_demo_squad(folder: Path) -> None:
    """Copy the demo squad's season folders into a folder, making it if need be.

    Args:
        folder: an empty or new folder, or one that already holds the demo squad.

    Raises:
        QuestionError: the folder holds other files, or is a file.
    """
    squad = files(_DATA) / "squad"
    athletes = [item for item in squad.iterdir() if item.is_dir()]
    contents = {folder / item.name: _held(item, ".csv") for item in athletes}
    _copy({folder: _held(squad, ".toml"), **contents}, "slackwater demo --squad FOLDER")


def _held(folder: Traversable, ending: str) -> dict[str, bytes]:
    return {i.name: i.read_bytes() for i in folder.iterdir() if i.name.endswith(ending)}


def _copy(contents: Mapping[Path, Mapping[str, bytes]], otherwise: str) -> None:
    """Write files into folders, all or none."""
    for folder, held in contents.items():
        if folder.exists() and not folder.is_dir():
            raise QuestionError(f"{folder} is a file; name a folder: {otherwise}")
        for name, content in held.items():
            there = folder / name
            if there.exists() and there.read_bytes() != content:
                raise QuestionError(
                    f"{there} is there already and is not the demo's; name another folder: "
                    f"{otherwise}"
                )
    for folder, held in contents.items():
        folder.mkdir(parents=True, exist_ok=True)
        with alone(folder):
            for name, content in held.items():
                write_whole(folder / name, content)
