"""Tables of how ranges of squads fared, for the studies' pages."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

Rows = Sequence[dict[str, Any]]


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table of Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def held(rows: Rows) -> str:
    """Return how many ranges held the truth, with a standard error."""
    share = float(np.mean([row["held"] for row in rows]))
    error = math.sqrt(max(share * (1 - share), 0.8 * 0.2 / 4) / len(rows))
    return f"{100 * share:.0f} % ± {100 * error:.0f} (of {len(rows)})"


def off(rows: Rows) -> str:
    """Return how far medians are off, on average."""
    return f"{np.mean([abs(row['error']) for row in rows]):.2f}"


def width(rows: Rows) -> str:
    """Return how wide ranges are, on average."""
    return f"{np.mean([row['width'] for row in rows]):.2f}"


def days(name: str, rows: Rows) -> tuple[str, str, str, str]:
    """Return a line about days to recover: its name, and how their ranges fare."""
    return name, held(rows), width(rows), off(rows)


def group(groups: Sequence[dict[str, Any]], how: str) -> str:
    """Return a table of how what is learnt of groups fares."""
    kinds = (
        ("means of noise, scatter, drift and tails", ("mean of",)),
        ("means of log dips and log rates, by type", ("mean log",)),
        ("spreads between athletes", ("spread",)),
    )
    rows = []
    for name, starts in kinds:
        found = [v for group in groups for key, v in group.items() if key.startswith(starts)]
        rows.append((name, held(found), f"{np.mean([row['error'] for row in found]):+.2f}"))
    return table((how, "ranges that held the truth", "median off by, ln, on average"), rows)
