from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from slackwater.fitting.intake import SeasonFilesError, check_season, read_season
from slackwater.model.errors import SeasonError

Write = Callable[[Mapping[str, str | bytes]], Path]


@pytest.fixture
def season_folder(tmp_path: Path) -> Write:
    """Write files by name into a fresh folder; text goes out as UTF-8, line ends as given."""

    def write(files: Mapping[str, str | bytes]) -> Path:
        folder = tmp_path / "spring"
        folder.mkdir()
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.encode()
            (folder / name).write_bytes(data)
        return folder

    return write


@pytest.fixture
def refuses_with(season_folder: Write) -> Callable[[Mapping[str, str | bytes], str], None]:
    """Assert that a folder has one problem, with just this text."""

    def check(files: Mapping[str, str | bytes], text: str) -> None:
        folder = season_folder(files)
        with pytest.raises(SeasonFilesError) as caught:
            read_season(folder)
        assert str(caught.value) == text
        assert isinstance(caught.value, SeasonError)
        (problem,) = caught.value.problems
        place = f"{problem.file}:{problem.line}:{problem.column}"
        assert text == f"{place}: {problem.what}; {problem.mend}"
        checked = check_season(folder)
        assert checked.season is None
        assert checked.problems == (problem,)

    return check
