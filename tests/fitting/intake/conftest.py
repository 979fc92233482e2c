from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from slackwater.fitting.intake import SeasonFilesError, check_season, read_season
from slackwater.model.errors import SeasonError

Write = Callable[[Mapping[str, str | bytes]], Path]

PAGE = Path(__file__).parents[3] / "docs" / "season-folder.md"
# Messages about what the tables of cases cannot set up; other tests raise them.
OTHERWISE_RAISED = (
    "the file cannot be read",
    "the folder cannot be read",
    "there is no such folder",
    "this is a file",
    "this is a link to nothing",
    "there are over 200,000 rows",
    "... like the 20 above",
)


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


@pytest.fixture(scope="session")
def explained() -> Callable[[str, list[str]], None]:
    """Assert that a section of the users' page has these messages, and no other."""
    page = PAGE.read_text(encoding="utf-8")

    def check(title: str, messages: list[str]) -> None:
        section = re.split(r"\n#+ ", page.split(f"# {title}\n")[1])[0]
        entries = re.findall(r"^- `(.+?)`", section, flags=re.MULTILINE)
        said = [re.sub(r"^\S+?(:\d+){0,2}: ", "", message) for message in messages]
        patterns = {e: ".+".join(map(re.escape, e.split("..."))) for e in entries}
        assert not [m for m in said if not any(re.fullmatch(p, m) for p in patterns.values())]
        assert not [
            entry
            for entry, pattern in patterns.items()
            if not entry.startswith(OTHERWISE_RAISED)
            and not any(re.fullmatch(pattern, message) for message in said)
        ]

    return check
