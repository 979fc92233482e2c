"""The reference page lists every public name; Sphinx itself checks links and toctrees."""

from __future__ import annotations

import re
from pathlib import Path
from types import ModuleType

import pytest

from slackwater import fitting, model

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize("package", [fitting, model], ids=["fitting", "model"])
def test_every_public_name_is_in_the_reference(package: ModuleType) -> None:
    page = (DOCS / "api.md").read_text(encoding="utf-8")
    own = page.split(f"\n## {package.__name__}\n")[1].split("\n## ")[0]
    listed = re.findall(r"^\.\. auto(?:function|class):: (?:\S+\.)?(\w+)$", own, re.MULTILINE)
    assert sorted(listed) == sorted(package.__all__)
