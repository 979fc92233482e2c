"""The page of the study of squads fitted jointly, from what was judged."""

from __future__ import annotations

from typing import Final

import numpy as np

from tests.studies.squad_tables import Rows, days, group, table

_ABOUT: Final = """# Squads: two stages against all readings at once

Written by `python -m tests.studies.squads_jointly --small {small} --large {large}`, on a machine
with two cores. Athletes are made by a generator that shares no code with the model. Medians are
held against those of the joint posterior, in its SDs: 95 of 100 are to lie within 0.1.
"""
_STAGES: Final = (
    "fitted alone, and pooled",
    "as squads are fitted: whoever must be is fitted again",
    "all fitted again under the group",
    "all fitted once more",
)
_WHAT: Final = {
    "athletes": "what is learnt of each athlete",
    "days": "athletes' days to recover",
    "means": "the group's means",
    "spreads": "its spreads",
}


def page(large: Rows, small: Rows) -> str:
    """Return the page.

    Args:
        large: what `both_ways` gave of squads of thirty.
        small: of squads of six.
    """
    parts = [_ABOUT.format(small=len(small), large=len(large))]
    for head, rows in (
        ("Thirty athletes, 180 nights", large),
        ("Six athletes, 84 nights", small),
    ):
        if rows:
            parts.append(_section(head, rows, timed=rows is large))
    return "\n".join(parts)


def _section(head: str, squads: Rows, *, timed: bool) -> str:
    checks = "; ".join(
        f"{each['draws']} draws, {each['checks'][0]} divergences, R-hat up to "
        f"{each['checks'][1]:.4f}, effective sample size from {each['checks'][2]:.0f}"
        for each in squads
    )
    if timed:
        checks += ", " + ", ".join(f"{each['seconds']:.0f} s by the clock" for each in squads)
    again = ", ".join(str(each["again"]) for each in squads)
    lines = []
    for stage, name in enumerate(_STAGES):
        for what in ("every", *_WHAT):
            rows = [
                row
                for each in squads
                for row in each["apart"][stage]
                if what in ("every", row["what"])
            ]
            apart = np.array([row["apart"] for row in rows])
            lines.append(
                (
                    name if what == "every" else f"– {_WHAT[what]}",
                    str(len(rows)),
                    f"{100 * np.mean(np.abs(apart) < 0.1):.0f} %",
                    f"{np.sqrt(np.mean(apart**2)):.3f}",
                    f"{np.sqrt(np.mean([row['error'] ** 2 for row in rows])):.3f}",
                )
            )
    both = ("jointly", ""), ("in two stages", " in two stages")
    ranges = ("ranges that held the truth", "width, days", "median off by, days")
    return "\n".join(
        (
            f"## {head}\n",
            f"Jointly: {checks}. In two stages {again} had to be fitted again.\n",
            table(("medians", "of", "within 0.1", "RMS, SDs", "of it by chance"), lines),
            *(group([each[f"group{key}"] for each in squads], how) for how, key in both),
            table(
                ("days to recover", *ranges),
                [
                    days(how, [row for each in squads for row in each[f"days{key}"]])
                    for how, key in both
                ],
            ),
        )
    )
