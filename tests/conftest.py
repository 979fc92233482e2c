from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

OPEN_DATA = Path(__file__).parents[2] / "shared" / "opendata"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that hold slow tests, so that no core waits for one at the end."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """Find a file of open data, which lies beside the checkout and is not part of it."""

    def find(name: str) -> Path:
        path = OPEN_DATA / name
        if not path.exists():
            pytest.skip(f"../shared/opendata/{name} is not there")
        return path

    return find
