"""The page on the model says the priors that the code has, and that the PyMC model uses."""

from __future__ import annotations

import re
from dataclasses import fields
from math import exp, log
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import pymc as pm
import pytest
from scipy.stats import norm

from slackwater.model import names as n
from slackwater.model.priors import Belief, Priors
from slackwater.model.recovery import build_model
from tests.model.seasons import season, table

PAGE: Final = Path(__file__).parents[2] / "docs" / "model.md"
IS_DATA: Final = [n.BASELINE_PRIOR_MEAN, n.BASELINE_PRIOR_SD]
# They are variances of known steps and the rate of what is to come; see test_unexplained.
OUTSIDE: Final = {"new_level", "unexplained", "unexplained_rate"}


class Row(NamedTuple):
    """One row of the page's table."""

    variables: list[str]
    distribution: str
    belief: Belief


def number(text: str) -> float:
    """Read "0.5", "log 0.15", "ln 2 / 5" or "log(ln 2 / 1.3)", as the page writes them."""
    if half_life := re.fullmatch(r"(log\()?ln 2 / ([\d.]+)\)?", text):
        rate = log(2) / float(half_life[2])
        return log(rate) if half_life[1] else rate
    return log(float(text[4:])) if text.startswith("log ") else float(text)


def rows() -> dict[str, Row]:
    """Return the table by the name in `Priors`."""
    table = PAGE.read_text(encoding="utf-8").split("\n## Priors\n")[1].split("\n## ")[0]
    found: dict[str, Row] = {}
    for line in table.splitlines():
        if not re.match(r"\| (?!quantity|---)", line):
            continue
        _, name, belief, reason = (cell.strip() for cell in line.strip("| ").split("|"))
        prior, *others = re.findall(r"`(\w+)`", name)
        said = re.fullmatch(r"(Normal|LogNormal)\((.+), ([\d.]+)\)", belief)
        assert said, f"not read: {belief}"
        assert reason, f"{prior} has neither source nor reason"
        middle = number(said[2])
        mean = log(middle) if said[1] == "LogNormal" else middle
        found[prior] = Row(others or [prior], said[1], Belief(mean, float(said[3])))
    return found


def test_the_page_has_the_priors_of_the_code() -> None:
    priors = Priors()
    told = rows()
    assert set(told) == {field.name for field in fields(Priors)}
    for name, row in told.items():
        assert row.belief == pytest.approx(getattr(priors, name)), name


@pytest.fixture(scope="module")
def model() -> pm.Model:
    """Build it for a season in which all take part: over a year, and a day perhaps forgotten."""
    readings = table("readings")
    later = readings.tail(1).assign(date=readings["date"].max() + pd.Timedelta(days=400))
    days = [day for day in pd.date_range("2031-03-02", "2031-03-16") if day.day != 8]
    types = np.resize(table("sessions")["type"].unique(), len(days))
    sessions = pd.DataFrame({"date": days, "type": types})
    return build_model(season(readings=pd.concat([readings, later]), sessions=sessions))


@pytest.mark.parametrize("name", sorted({field.name for field in fields(Priors)} - OUTSIDE))
def test_the_model_uses_them_as_the_page_says(model: pm.Model, name: str) -> None:
    row = rows()[name]
    if row.variables == IS_DATA:
        mean, sd = (model[variable].get_value() for variable in row.variables)
        assert (float(mean), float(sd)) == pytest.approx(row.belief)
        return
    [name] = row.variables
    variable: Any = model[name]
    operation = variable.owner.op
    assert type(operation).__name__ == f"{row.distribution}RV"
    mean, sd = (float(p.eval().ravel()[0]) for p in operation.dist_params(variable.owner))
    assert (mean, sd) == pytest.approx(row.belief)


def test_figures_beside_the_priors_follow_from_them() -> None:
    reasons = PAGE.read_text(encoding="utf-8")
    priors = Priors()
    scatter = exp(priors.session_sd.mean)
    assert "one session in three differs by more than a quarter" in reasons
    assert exp(scatter) - 1 == pytest.approx(0.25, abs=0.05)
    beyond = 2 * norm.sf(log(1.5) / priors.log_rate_ratio.sd)
    assert "one measure in six (18 %) is beyond 1.5 times as fast, or as slow" in reasons
    assert beyond == pytest.approx(0.18, abs=0.005)
    assert "two sensors in three differ by 20 % or less, one in three (32 %)" in reasons
    assert 2 * norm.sf(0.2 / priors.sensor_step.sd) == pytest.approx(0.32, abs=0.005)
    assert "two in three measures move the reading of a night of their use by 5 % or" in reasons
    assert 2 * norm.sf(0.05 / priors.lift.sd) == pytest.approx(1 / 3, abs=0.02)
