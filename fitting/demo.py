"""The demo season that comes with the package."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Final

from slackwater.fitting.files import alone, write_whole
from slackwater.model.errors import QuestionError

DEMO_FOLDER: Final = "slackwater-demo"


def copy_demo(folder: Path) -> None:
    """Copy the demo season's files into a folder, making it if need be.

    Args:
        folder: an empty or new folder, or one that already holds the demo season.

    Raises:
        QuestionError: the folder holds other season files, or is a file.
    """
    if folder.exists() and not folder.is_dir():
        raise QuestionError(f"{folder} is a file; name a folder: slackwater demo FOLDER")
    season = {
        item.name: item.read_bytes()
        for item in files("slackwater.demo_data").iterdir()
        if item.name.endswith(".csv")
    }
    for name, content in season.items():
        there = folder / name
        if there.exists() and there.read_bytes() != content:
            raise QuestionError(
                f"{there} is there already and is not the demo's; name another folder: "
                "slackwater demo FOLDER"
            )
    folder.mkdir(parents=True, exist_ok=True)
    with alone(folder):
        for name, content in season.items():
            write_whole(folder / name, content)
