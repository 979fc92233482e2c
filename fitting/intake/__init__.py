"""Read a season folder from disk: find every problem in one go, or build the season.

`settings` reads the folder's season.toml, `csv_file` turns bytes into rows of cells,
`cells` says what a cell may hold, `tables` turns rows of cells into typed rows, `checks`
and `notes` look across rows and files, `folder` puts it together. Nothing is written.
"""

from slackwater.fitting.intake.folder import SeasonCheck, check_season, read_season
from slackwater.fitting.intake.problems import Note, Problem, SeasonFilesError

__all__ = [
    "Note",
    "Problem",
    "SeasonCheck",
    "SeasonFilesError",
    "check_season",
    "read_season",
]
