"""Parts that stand on every page: the caution, and how to read it."""

from __future__ import annotations

from slackwater.fitting.report import words
from slackwater.fitting.report.caution import CAUTION
from slackwater.fitting.report.page.part import Part


def caution() -> Part:
    """Return the caution."""
    return Part("caution", "Caution", (CAUTION,))


def how_to_read(level: float) -> Part:
    """Return what the words and the pictures mean.

    Args:
        level: credible mass of every range on the page.
    """
    often = words.out_of_ten(level)
    return Part(
        "reading",
        "How to read this page",
        (
            "Every range, which is two numbers in brackets or after the word likely, holds "
            f"{often}. What is likely has at least that chance, what is likely not has at most "
            "the rest, and what may be lies between. A chance is in percent: 80 % is four such "
            "days in five.",
            "A reading is one night's RMSSD in milliseconds, under the date of its morning. The "
            "state is what the reading would be without the noise of the night.",
            "Baseline is what readings return to when nothing weighs on you; it drifts slowly. A "
            "dip is how far the state lies under baseline, in percent. Recovered, back and at "
            "baseline all mean that the dip is under the threshold.",
            "Days count from the session's date, and the first reading that can show a session is "
            "that of the next morning: nothing recovers in less than 1 day.",
            "In pictures over time, dots are readings, the solid line is the state and the broken "
            "line baseline, each in a band that is its range. Milliseconds stand on a logarithmic "
            "scale, on which equal steps are equal percentages.",
            "A colour means one thing in all pictures: blue is the state with its dips and their "
            "recovery, grey baseline, purple what is foretold of readings, orange the next reading "
            "after a session, green what differs or is added.",
            "Where intervals stand below one another, the mark is the middle and the bar the "
            "range. A bar that reaches into the shaded stretch allows that there is no meaningful "
            "difference.",
        ),
    )
