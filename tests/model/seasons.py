"""A small invented season with all that a season can hold, and ways to vary it."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from slackwater.model.season import Season

NIGHTS: Final = pd.date_range("2031-03-01", "2031-03-20")
MISSED: Final = [4, 11, 12]


def tables() -> dict[str, pd.DataFrame | None]:
    """Return fresh tables: 17 readings by two sensors, three types, two measures, one stressor."""
    read = np.setdiff1d(np.arange(len(NIGHTS)), MISSED)
    rng = np.random.default_rng(sum(map(ord, "season")))
    return {
        "readings": pd.DataFrame(
            {
                "date": NIGHTS[read],
                "rmssd_ms": np.exp(rng.normal(4.1, 0.15, len(read))),
                "sensor": np.where(read < 9, "finger clip", "chest strap"),
            }
        ),
        "sessions": _table(
            ["date", "type", "dose"],
            ("2031-03-02", "row intervals", 1.0),
            ("2031-03-05", "heavy lifting", 1.2),
            ("2031-03-05", "easy paddle", None),
            ("2031-03-08", "row intervals", 0.5),
            ("2031-03-11", "easy paddle", 1.0),
            ("2031-03-14", "heavy lifting", 1.0),
            ("2031-03-17", "row intervals", 1.5),
        ),
        "types": pd.DataFrame(
            {
                "type": ["easy paddle", "row intervals", "heavy lifting"],
                "mode": ["row", "row", "lift"],
                "effort": ["easy", "hard", "hard"],
            }
        ),
        "interventions": _table(
            ["date", "intervention"],
            ("2031-03-03", "river dip"),
            ("2031-03-09", "river dip"),
            ("2031-03-06", "beet juice"),
        ),
        "stressors": _table(
            ["date", "stressor"], ("2031-03-12", "head cold"), ("2031-03-13", "head cold")
        ),
    }


def season(**changes: pd.DataFrame | None) -> Season:
    """Return the season with some of its tables replaced, or left out by None."""
    given = {**tables(), **changes}
    readings = given.pop("readings")
    assert readings is not None
    return Season.from_tables("spring", readings, **given)


def table(name: str) -> pd.DataFrame:
    found = tables()[name]
    assert found is not None
    return found


def _table(columns: list[str], *rows: tuple[object, ...]) -> pd.DataFrame:
    out = pd.DataFrame(rows, columns=columns)
    return out.assign(date=pd.to_datetime(out["date"]))
