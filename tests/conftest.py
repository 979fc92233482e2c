from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

OPEN_DATA = Path(__file__).parents[2] / "shared" / "opendata"


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """Find a file of open data, which lies beside the checkout and is not part of it."""

    def find(name: str) -> Path:
        path = OPEN_DATA / name
        if not path.exists():
            pytest.skip(f"../shared/opendata/{name} is not there")
        return path

    return find
