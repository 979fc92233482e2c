"""Which state of the code a result came from."""

from __future__ import annotations

import ast
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from importlib.util import find_spec
from pathlib import Path
from typing import Any

OURS = ("slackwater.", "tests.studies.")


def state_of(work: Callable[..., Any]) -> str:
    """Return a hash of all of our code that a function's module imports, comments left out."""
    seen: set[str] = set()
    waiting = [work.__module__]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting += filter(_is_module, _imports(_source(name)))
    digest = sha256()
    for name in sorted(seen):
        digest.update(_meaning(_source(name)))
    return digest.hexdigest()[:10]


@cache
def _imports(source: str) -> tuple[str, ...]:
    found: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module:
            found += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        elif isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
    return tuple(found)


@cache
def _is_module(name: str) -> bool:
    if not name.startswith(OURS):
        return False
    try:
        spec = find_spec(name)
    except ModuleNotFoundError:  # a name inside a module
        return False
    return bool(spec and spec.origin and spec.origin.endswith(".py"))


@cache
def _source(name: str) -> str:
    spec = find_spec(name)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).read_text(encoding="utf-8")


@cache
def _meaning(source: str) -> bytes:
    """Return what a source says, its comments and docstrings left out."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list) and body and isinstance(body[0], ast.Expr):
            value = body[0].value
            if isinstance(value, ast.Constant) and isinstance(value.value, str):
                del body[0]
    return ast.dump(tree).encode()
