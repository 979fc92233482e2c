"""What a group knows as a file of its own: plain JSON of numbers, without a reading or a name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting.files import MEBIBYTE, read_whole, write_whole
from slackwater.model.errors import QuestionError
from slackwater.model.population import SHARED, Population

KIND: Final = "slackwater population"
SCHEMA: Final = 1
_MOST: Final = 64 * MEBIBYTE
_DIGITS: Final = 5  # significant; draws are not known to more


def write_population(population: Population, path: str | Path) -> Path:
    """Write a population, whole or not at all, and return its path.

    The file holds draws of the group's means and spreads, and the labels that at least two of its
    athletes have: nothing of any one of them.

    Raises:
        OSError: it cannot be written; a file before it is left as it was.
    """
    path = Path(path)
    write_whole(path, (json.dumps(to_json(population), indent=1) + "\n").encode())
    return path


def read_population(path: str | Path) -> Population:
    """Return the population that a file holds.

    Raises:
        OSError: it cannot be read.
        QuestionError: it is no population, or is damaged.
    """
    path = Path(path)
    try:
        return from_json(json.loads(read_whole(path, _MOST)))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise QuestionError(
            f"{path} is no population as `slackwater squad fit` writes it: {error}. "
            "Ask for the file again, or make it again from the squad."
        ) from None


def to_json(population: Population) -> dict[str, Any]:
    """Return a population as an object of JSON."""
    quantities = {}
    for each in SHARED:
        of: dict[str, Any] = {"scale": "ln" if each.log else "as it is"}
        if each.dim:
            of["labels"] = list(population.labels[each.name])
        of["means"] = _rounded(population.means[each.name].T)
        of["spreads"] = _rounded(population.spreads[each.name])
        if each.family:
            of["between_labels"] = _rounded(population.families[each.name])
        quantities[each.name] = of
    return {
        "kind": KIND,
        "schema": SCHEMA,
        "athletes": population.athletes,
        "quantities": quantities,
    }


def from_json(given: dict[str, Any]) -> Population:
    """Return the population of an object of JSON.

    Raises:
        ValueError: it is none; a missing part raises `KeyError`, another kind of it `TypeError`.
    """
    if not isinstance(given, dict) or given.get("kind") != KIND:
        raise ValueError("it is not of that kind")
    if given.get("schema") != SCHEMA:
        raise ValueError(f"its schema is not {SCHEMA}, as this version reads it")
    athletes = given["athletes"]
    if not isinstance(athletes, int) or isinstance(athletes, bool) or athletes < 0:
        raise ValueError("its number of athletes is none")
    of = given["quantities"]
    labels = {e.name: tuple(map(_text, of[e.name]["labels"])) for e in SHARED if e.dim}
    spreads = {each.name: _numbers(of[each.name]["spreads"]) for each in SHARED}
    draws = len(spreads[SHARED[0].name])
    means = {
        e.name: _numbers(of[e.name]["means"]).reshape((-1, draws) if e.dim else (draws,)).T
        for e in SHARED
    }
    families = {e.name: _numbers(of[e.name]["between_labels"]) for e in SHARED if e.family}
    return Population(athletes, labels, means, spreads, families)


def _rounded(values: Any) -> Any:
    return [_rounded(v) if isinstance(v, np.ndarray) else float(f"{v:.{_DIGITS}g}") for v in values]


def _numbers(values: Any) -> Any:
    return np.array(values, dtype=float)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("a label is not a text")
    return value
