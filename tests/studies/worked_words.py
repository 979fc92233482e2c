"""What the worked season says between its commands, whatever they answer."""

from __future__ import annotations

from typing import Any, Final

BEGINNING: Final = """
# One season, from an empty folder to a tested recovery measure

An invented club rower, who also lifts and runs hills, wants to know how many days each kind of \
session takes to recover from, and whether a dip in the river makes it fewer. This page shows \
every command on the way with its real output, as it looks in a terminal 80 columns wide. \
`Next:` at the end of an answer is the one next step, and the rower follows it.

Readings are made by simulation. What they are made from is written nowhere in the season's \
files, and is told at the very end, to see what was found and what was missed. Nothing is chosen \
to please: one seed, taken from the season's first day, and the only one tried. What comes out \
undecided is shown undecided.

Written by `python -m tests.studies.worked_season`, not to be edited by hand. The caution that \
each answer ends in is shown once, long tables are cut at […], and lines longer than 80 columns \
are folded.
"""

AFTER_VERDICT: Final = {
    "faster": """
By the rule fixed before the first day, the river dip speeds recovery up. So it is adopted: from \
now on the rower uses it on each day, and logs it. Eight weeks later the season is fitted anew:
""",
    "undecided": """
Twice undecided: if there is an effect, it is too small for these readings to show. The river dip \
is not adopted. The rower trains on for eight weeks:
""",
    "no meaningful difference": """
The river dip makes no difference worth having, and a cold river on a winter evening is a price. \
It is not adopted. The rower trains on for eight weeks:
""",
    "slower": """
With the river dip, recovery is slower. It is not adopted. The rower trains on for eight weeks:
""",
}

UNDECIDED: Final = """
## Undecided: what then?

That is no *no*. These sessions cannot tell a useful dip from a useless one, and by the rule fixed \
before the first day it is not adopted, whichever way the numbers lean; a rule that is bent once \
protects from nothing. The trial was made to find a large effect. A single day saved would be \
worth the cold to this rower, so there is a reason for a longer trial, planned for that. It is \
judged by its own days alone, and the ledger keeps both.
"""

UNDECIDED_AGAIN: Final = """
A verdict of *undecided* is a frequent and honest end, most of all for a measure that does \
nothing: to show that something makes no difference takes more sessions than to show that it \
makes a large one. What is not shown to work is not kept.
"""

LATER: Final = """
## Later seasons

The folder stays the same, year after year. A new winter begins with a few days of complete rest, \
and `washout` says how many; a new sensor is named in `readings.csv`; and `history` shows where \
baseline went meanwhile:
"""

Interval = dict[str, float]


def words_of_the_truth(
    days: dict[str, float],
    found: dict[str, Interval],
    trials: list[tuple[float, dict[str, Any]]],
    baseline: float,
    level: Interval,
    seed: int,
) -> str:
    """Return the page's end: what everything was made from, beside what was found.

    Args:
        days: true days to recover of a typical session, by type.
        found: the same as answered.
        trials: of each trial, the true rate ratio and the ledger's row.
        baseline: true baseline on the last morning, ms.
        level: the same as answered.
        seed: the season's.
    """
    rows = [_row(f"{label}, days", days[label], each, 1) for label, each in found.items()]
    rows.append(_row("baseline on the last morning, ms", baseline, level, 0))
    for true, row in trials:
        what = f"{row['measure']}, rate with over without, trial {row['trial']}"
        rows.append(_row(what, true, row["rate_ratio_alone"], 2))
    held = sum(row.endswith("yes |") for row in rows)
    verdicts = " ".join(_verdict(true, row) for true, row in trials)
    table = "\n".join(["| | truth | found | in the range |", "| --- | --- | --- | --- |", *rows])
    return f"""
## The truth behind it

The readings were made by a few lines of their own (`tests/studies/invented_rower.py`), which \
share nothing with slackwater's model, from these values and seed {seed}:

{table}

{held} of {len(rows)} ranges hold the truth. They are ranges that hold 8 times in 10, so one or \
two misses in {len(rows)} are what they promise. {verdicts}
"""


def _row(what: str, true: float, found: Interval, digits: int) -> str:
    low, median, high = (found[key] for key in ("low", "median", "high"))
    inside = "yes" if low <= true <= high else "no"
    shown = f"{median:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"
    return f"| {what} | {true:.{digits}f} | {shown} | {inside} |"


def _verdict(true: float, row: dict[str, Any]) -> str:
    ended = f"trial {row['trial']} ended *{row['verdict']}*"
    if true > 1:
        works = f"The {row['measure']} does work: {ended}"
        return f"{works}." if row["verdict"] == "faster" else f"{works}: it did not show it."
    wrong = row["verdict"] in ("faster", "slower")
    end = ", a false alarm." if wrong else ", and it was not kept."
    return f"The {row['measure']} does nothing: {ended}{end}"
