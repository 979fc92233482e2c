"""Thirty wrong entries, written down before the code that is to catch them.

Each is one line that comes into a file of the demo season, whose last reading is of 2031-07-06,
on a morning; most are slips of a hand that meant 66 ms, a hill run, the chest strap. Two of them
(`56 for 65`, `heart rate`) lie well within what is foreseen: nobody can tell them from right ones.
"""

from __future__ import annotations

import datetime as dt
from typing import Final, NamedTuple

TODAY: Final = dt.date(2031, 7, 7)


class Wrong(NamedTuple):
    """A wrong entry.

    Attributes:
        name: what went wrong.
        file: the file that it comes into.
        line: the row, as the file would have it.
        mend: what the question should propose, a part of it.
        today: the day on which it is entered.
        ln: whether the season's readings are logarithms.
    """

    name: str
    file: str
    line: str
    mend: str
    today: dt.date = TODAY
    ln: bool = False


WRONG: Final = (
    Wrong("decimal point lost", "readings", "2031-07-07,660,chest strap", "66.0 ms"),
    Wrong("decimal point moved", "readings", "2031-07-07,6.6,chest strap", "66.0 ms"),
    Wrong("ln as ms", "readings", "2031-07-07,4.19,chest strap", "66.0 ms"),
    Wrong("ms as ln", "readings", "2031-07-07,66,chest strap", "natural logarithm", ln=True),
    Wrong("seconds for ms", "readings", "2031-07-07,0.066,chest strap", "66.0 ms"),
    Wrong("decimal comma as a column", "readings", "2031-07-07,66,4", "66.4"),
    Wrong("61 as 16", "readings", "2031-07-07,16,chest strap", "61 ms"),
    Wrong("56 for 65", "readings", "2031-07-07,56,chest strap", "65 ms"),
    Wrong("heart rate", "readings", "2031-07-07,47,chest strap", ""),
    Wrong("a night's second reading", "readings", "2031-07-06,58.3,chest strap", "keep one"),
    Wrong("reading of tomorrow", "readings", "2031-07-08,64,chest strap", "2031-07-07"),
    Wrong("reading of next year", "readings", "2032-07-07,64,chest strap", "2031-07-07"),
    Wrong("reading two years back", "readings", "2029-07-07,64,chest strap", "2031-07-07"),
    Wrong("sensor with a hyphen", "readings", "2031-07-07,64,chest-strap", "'chest strap'"),
    Wrong("last year in January", "sessions", "2031-01-07,hill run,1.0", "2032-01-07",
          dt.date(2032, 1, 8)),
    Wrong("day and month swapped", "sessions", "2031-03-07,hill run,1.0", "2031-07-03",
          dt.date(2031, 7, 7)),
    Wrong("session of tomorrow", "sessions", "2031-07-08,hill run,1.0", "2031-07-07"),
    Wrong("minutes as dose", "sessions", "2031-07-06,hill run,60", "1 = that type's usual"),
    Wrong("percent as dose", "sessions", "2031-07-06,hill run,130", "1.3"),
    Wrong("point lost in a dose", "sessions", "2031-07-06,hill run,13", "1.3"),
    Wrong("dose of zero", "sessions", "2031-07-06,hill run,0", "above 0"),
    Wrong("dose below zero", "sessions", "2031-07-06,hill run,-1", "above 0"),
    Wrong("type in capitals", "sessions", "2031-07-06,Hill Run,1.0", "'hill run'"),
    Wrong("type in the plural", "sessions", "2031-07-06,hill runs,1.0", "'hill run'"),
    Wrong("type mistyped", "sessions", "2031-07-06,hlil run,1.0", "'hill run'"),
    Wrong("the same session twice", "sessions", "2031-07-03,row intervals,1.0", "twice"),
    Wrong("columns shifted", "sessions", "2031-07-06,1.0,", "type"),
    Wrong("a stressor as a session", "sessions", "2031-07-06,head cold,1.0", "stressor"),
    Wrong("measure with another dash", "interventions", "2031-07-07,river\u2013dip", "'river dip'"),
    Wrong("measure named like a type", "interventions", "2031-07-07,hill run", "type"),
)  # fmt: skip
