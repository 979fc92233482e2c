"""model/ is pure: no files, no clock, no printing, no pictures, and nothing of fitting/.

Its modules are read as syntax trees, not imported, so a call in a branch no test runs counts too.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

MODEL = Path(__file__).parents[2] / "model"
MODULES = sorted(MODEL.rglob("*.py"))

FORBIDDEN_IMPORTS = (
    "io",
    "logging",
    "matplotlib",
    "os",
    "pathlib",
    "random",
    "shutil",
    "slackwater.fitting",
    "subprocess",
    "sys",
    "tempfile",
    "time",
)
FORBIDDEN_BUILTINS = {"breakpoint", "input", "open", "print"}
FORBIDDEN_METHODS = {
    "now",
    "read_csv",
    "to_csv",
    "to_netcdf",
    "today",
    "utcnow",
}
GLOBAL_RANDOMNESS = {"np.random.seed", "numpy.random.seed"}


def imported_names(tree: ast.AST) -> Iterator[str]:
    """Yield each imported module, and each `from module import name` as `module.name`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = "." * node.level + (node.module or "")
            yield from (f"{base}.{alias.name}" for alias in node.names)


def is_or_is_inside(name: str, module: str) -> bool:
    return name == module or name.startswith(f"{module}.")


def impurities(source: str) -> list[str]:
    """Say what in this source reads files or the clock, prints, or imports what it must not."""
    tree = ast.parse(source)
    found = [
        f"imports {name}"
        for name in imported_names(tree)
        if name.startswith(".") or any(is_or_is_inside(name, bad) for bad in FORBIDDEN_IMPORTS)
    ]
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and node.id in FORBIDDEN_BUILTINS:
            found.append(f"line {node.lineno}: {node.id}")
        elif isinstance(node, ast.Attribute) and (
            node.attr in FORBIDDEN_METHODS or ast.unparse(node) in GLOBAL_RANDOMNESS
        ):
            found.append(f"line {node.lineno}: {ast.unparse(node)}")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(MODEL)))
def test_module_is_pure(path: Path) -> None:
    assert impurities(path.read_text(encoding="utf-8")) == []


def test_there_is_something_to_check() -> None:
    assert MODEL / "__init__.py" in MODULES


@pytest.mark.parametrize(
    "source",
    [
        "open('x')",
        "def f():\n    print(1)",
        "import pathlib",
        "from pathlib import Path",
        "import matplotlib.pyplot as plt",
        "from slackwater import fitting",
        "from slackwater.fitting.cli import main",
        "from . import names",
        "from .names import NIGHT",
        "from datetime import date\ndate.today()",
        "import datetime as dt\ndt.datetime.now()",
        "import time",
        "import numpy as np\nnp.random.seed(1)",
        "import pandas as pd\npd.read_csv('x.csv')",
    ],
)
def test_impure_source_is_caught(source: str) -> None:
    assert len(impurities(source)) == 1


def test_pure_source_is_not_caught() -> None:
    source = (
        "import datetime\n"
        "import numpy as np\n"
        "from slackwater.model.names import NIGHT\n"
        "rng = np.random.default_rng(7)\n"
        "day = datetime.date(2031, 3, 11)\n"
    )
    assert impurities(source) == []
