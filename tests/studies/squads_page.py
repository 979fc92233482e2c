"""The page of the study of squads, from what was judged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from tests.studies.squad_tables import Rows, days, group, held, off, table, width

_LONG: Final = 4.5  # days; one in eight athletes and types truly takes longer

_ABOUT: Final = """# Squads: what is learnt of a group, and what it is worth

Written by `python -m tests.studies.squads {options}`,
which says how athletes were made: {squads} squads of {athletes} athletes with 16 weeks each, from a
generator that shares no code with the model. Ranges of 80 % are held to hold the truth in 80 of
100. A share is shown with its standard error, as if every quantity stood alone; those of one squad
do not, so the true error is larger.

Each athlete was fitted alone, and pooled; whoever the draws could not stand for was fitted
again under what the group knew, and pooled again.
"""


def page(squads: Rows, measures: Rows, sizes: Rows, athletes: int) -> str:
    """Return the page.

    Args:
        squads: what `judge_squad` gave.
        measures: what `measure_across` gave.
        sizes: what `by_size` gave.
        athletes: of each squad.
    """
    options = f"--squads {len(squads)} --athletes {athletes} --sizes {len(sizes)}"
    parts = [
        _ABOUT.format(squads=len(squads), athletes=athletes, options=options),
        "## The group\n",
        group([each["group"] for each in squads], "in two stages"),
        "## Each athlete's days to recover\n",
        table(
            ("", "ranges that held the truth", "width, days", "median off by, days"),
            [
                days(name, [row for squad in squads for row in squad[key]])
                for name, key in (
                    ("fitted alone", "alone"),
                    ("pooled from these draws", "first"),
                    ("fitted again under the group, and pooled", "second"),
                )
            ],
        ),
        _again(squads),
        _sizes(sizes) if sizes else "",
        "## A measure across the squad\n",
        _measure(measures),
        "## One who joins\n",
        "What is said after so many weeks, by the athlete's readings alone and under what the squad"
        " knew before. The score is the CRPS of a week of rest to come, in ln units; smaller is"
        " better. Whoever has fewer than 14 readings by then is told nothing, and left out.\n",
        _new([row for squad in squads for row in squad["new"]]),
        "## A type done once or twice\n",
        _seldom([row for squad in squads for row in squad["new"]]),
        "## One unlike all others\n",
        _unlike([row for squad in squads for row in squad["unlike"]]),
    ]
    return "\n".join(part for part in parts if part)


def _again(squads: Rows) -> str:
    first, second = ([k for squad in squads for k in squad["pareto_k"][stage]] for stage in (0, 1))
    seconds = {
        key: np.mean([squad["seconds"][key] / len(squad["pareto_k"][0]) for squad in squads])
        for key in squads[0]["seconds"]
    }
    again, left = (sum(squad["again"][stage] for squad in squads) for stage in (0, 1))
    return (
        f"Pareto's k was {np.median(first):.1f} in the middle after the first fits, and {again} of "
        f"{len(first)} athletes had draws too uneven or too few that count, and were fitted again; "
        f"k was {np.median(second):.1f} then, and {left} were left. An athlete took "
        f"{seconds['alone']:.1f} s of one processor alone and {seconds['again']:.1f} s again, over "
        f"all athletes; pooling {seconds['pool'] + seconds['pool again']:.1f} s for each.\n"
    )


def _sizes(sizes: Rows) -> str:
    """Return what the same athletes are told in squads of several sizes."""
    lines = [("alone", *_told([each["alone"] for each in sizes]), "", "", "")]
    largest = sizes[0]["sizes"][-1]["size"]
    for place, first in enumerate(sizes[0]["sizes"]):
        mine = [each["sizes"][place] for each in sizes]
        groups = [group for each in mine for group in each["groups"]]
        again = sum(each["again"] for each in mine) / (largest * len(mine))
        means, spreads = (
            [row for group in groups for name, row in group.items() if name.startswith(start)]
            for start in ("mean log", "spread of log")
        )
        lines.append(
            (
                f"squads of {first['size']}",
                *_told([each["days"] for each in mine]),
                f"{100 * again:.0f} %",
                _share(means),
                _share(spreads),
            )
        )
    head = (
        "",
        "ranges that held the truth",
        f"of those over {_LONG} days",
        "width, days",
        "median off by, days",
        "fitted again",
        "group's means held",
        "its spreads",
    )
    return (
        f"## How many there are\n\n{len(sizes)} squads of {largest}, each "
        "taken apart into smaller ones of the same athletes. Errors are over the large squads, so "
        "that they hold what the athletes of one have in common. Ranges are held against how long "
        "an athlete truly takes, too: whatever draws athletes together tells those who take longest"
        " too short a time. Means and spreads are those of log dips and log rates.\n\n"
        + table(head, lines)
    )


def _told(squads: Sequence[Rows]) -> tuple[str, str, str, str]:
    """Return how ranges of several squads fare: all, the long ones, their width, their middles."""
    shares = [np.mean([row["held"] for row in rows]) for rows in squads]
    every = [row for rows in squads for row in rows]
    error = np.std(shares, ddof=1) / math.sqrt(len(shares)) if len(shares) > 1 else np.nan
    held = f"{100 * np.mean(shares):.0f} % ± {100 * error:.0f} (of {len(every)})"
    return held, _share([row for row in every if row["truth"] > _LONG]), width(every), off(every)


def _share(rows: Rows) -> str:
    return f"{100 * np.mean([row['held'] for row in rows]):.0f} % (of {len(rows)})"


def _new(rows: Rows) -> str:
    lines = []
    for weeks in sorted({row["weeks"] for row in rows}):
        for how in ("alone", "group"):
            mine = [row for row in rows if row["weeks"] == weeks and row["how"] == how]
            types = [t for row in mine for t in row["types"]]
            scores = [row["crps"] for row in mine if row["crps"] is not None]
            own = [share for row in mine for share in row["own_share"]]
            lines.append(
                (
                    f"{weeks} weeks, {'alone' if how == 'alone' else 'under the group'}",
                    held(types),
                    width(types),
                    off(types),
                    f"{np.mean(scores):.4f}" if scores else "refused",
                    f"{np.mean(own):.2f}" if how == "group" else "",
                )
            )
    head = ("", "days held", "width, days", "median off by, days", "score", "own share")
    return table(head, lines)


def _seldom(rows: Rows) -> str:
    lines = []
    for how, name in (("alone", "alone"), ("group", "under the group")):
        types = [t for row in rows if row["how"] == how for t in row["types"] if t["sessions"] <= 2]
        if types:
            lines.append(days(name, types))
    head = ("", "ranges that held the truth", "width, days", "median off by, days")
    return table(head, lines) if lines else "No type was done so seldom.\n"


def _measure(squads: Rows) -> str:
    lines = [
        days("the group's mean", [squad["mean"] for squad in squads]),
        days("spread between athletes", [squad["spread"] for squad in squads]),
        days("one more athlete", [squad["another"] for squad in squads]),
        days("each athlete, alone", [row for squad in squads for row in squad["alone"]]),
        days("each athlete, of the group", [row for squad in squads for row in squad["pooled"]]),
    ]
    head = ("log rate ratio", "ranges that held the truth", "width", "median off by")
    return (
        "Squads of their own, each of whose athletes uses a measure in half of the weeks, drawn. "
        "It speeds recovery up by a quarter in the middle, and for athletes by factors that differ "
        "by a fifth (an SD of the log of 0.2).\n\n" + table(head, lines)
    )


def _unlike(rows: Rows) -> str:
    lines = [days(name, [row[key] for row in rows]) for name, key in _HOW]
    alone, group = (
        np.array([row[key]["error"] + row[key]["truth"] for row in rows])
        for key in ("alone", "group")
    )
    others = np.array([row["others"] for row in rows])
    apart = np.abs(alone - others) > 1
    drawn = np.median((alone - group)[apart] / (alone - others)[apart]) if apart.any() else 0.0
    head = ("", "ranges that held the truth", "width, days", "median off by, days")
    return (
        "One whose dips pass at two fifths of the rate that they would, in each squad.\n\n"
        + table(head, lines)
        + f"\nOf the way from where they stand alone to where the others stand, the group draws "
        f"them {100 * drawn:.0f} % in the middle.\n"
    )


_HOW: Final = (("alone", "alone"), ("among the others", "group"))
