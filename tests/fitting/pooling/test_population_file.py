"""A population written and read again, and files that are none."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from slackwater.fitting.pooling.population_file import (
    from_json,
    read_population,
    to_json,
    write_population,
)
from slackwater.model import names as n
from slackwater.model.errors import QuestionError
from slackwater.model.population import SHARED, Population


def made() -> Population:
    plain = Population.unknown(draws=50)
    means = {**plain.means, n.TYPE_LOG_DIP: np.arange(100.0).reshape(50, 2) / 7}
    labels = {**plain.labels, n.TYPE_LOG_DIP: ("hill run", "Rudern")}
    return Population(12, labels, means, plain.spreads, plain.families)


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    population = made()
    read = read_population(write_population(population, tmp_path / "club.json"))
    assert read.athletes == 12
    assert read.labels == population.labels
    for each in SHARED:
        np.testing.assert_allclose(read.means[each.name], population.means[each.name], rtol=1e-4)
        np.testing.assert_allclose(
            read.spreads[each.name], population.spreads[each.name], rtol=1e-4
        )
    assert read.priors().of(n.TYPE_LOG_DIP, "Rudern") is not None


def test_the_file_holds_numbers_and_labels_alone() -> None:
    texts: set[str] = set()

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            for each in value.values():
                walk(each)
        elif isinstance(value, list):
            for each in value:
                walk(each)
        elif isinstance(value, str):
            texts.add(value)

    walk(to_json(made()))
    assert texts == {"slackwater population", "ln", "as it is", "hill run", "Rudern"}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda o: o.update(kind="season"), "not of that kind"),
        (lambda o: o.update(schema=2), "schema is not 1"),
        (lambda o: o.update(athletes=True), "number of athletes"),
        (lambda o: o["quantities"].pop(n.LIFT), n.LIFT),
        (lambda o: o["quantities"][n.NOISE_SD]["spreads"].__setitem__(3, -1.0), "not above 0"),
        (lambda o: o["quantities"][n.NOISE_SD]["means"].pop(), "reshape"),
        (lambda o: o["quantities"][n.NOISE_SD]["means"].__setitem__(3, float("nan")), "noise_sd"),
        (lambda o: o["quantities"][n.TYPE_LOG_DIP]["labels"].__setitem__(0, 3), "not a text"),
    ],
)
def test_what_is_no_population_is_refused(tmp_path: Path, change: Any, why: str) -> None:
    given = to_json(made())
    change(given)
    file = tmp_path / "club.json"
    file.write_text(json.dumps(given))
    with pytest.raises(QuestionError, match=why):
        read_population(file)
    file.write_text("[" * 100_000)
    with pytest.raises(QuestionError, match="no population"):
        read_population(file)


def test_an_object_is_read_without_a_file() -> None:
    assert from_json(to_json(made())).draws == 50
