"""Read a season folder from disk: find every problem in one go, or build the season.

`settings` reads the folder's season.toml, `csv_file` turns bytes into rows of cells,
`cells` says what a cell may hold, `tables` turns rows of cells into typed rows, `checks`
and `notes` look across rows and files, `folder` puts it together. Nothing is written.

Names are imported when they are first used, so that rows of cells cost no pandas.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from slackwater.fitting.intake.folder import SeasonCheck, check_season, read_season
    from slackwater.fitting.intake.problems import Note, Problem, SeasonFilesError

_HOME: Final = {
    "Note": "problems",
    "Problem": "problems",
    "SeasonCheck": "folder",
    "SeasonFilesError": "problems",
    "check_season": "folder",
    "read_season": "folder",
}

__all__ = [
    "Note",
    "Problem",
    "SeasonCheck",
    "SeasonFilesError",
    "check_season",
    "read_season",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
