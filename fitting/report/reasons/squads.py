"""Sentences about squads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import listed, plural


def _season_cannot_be_read(problem: str, others: int) -> str:
    more = f", and {plural(others, 'more problem')}" if others else ""
    return f"The season cannot be read ({problem}{more}); check it alone."


def _on_trial_in_the_squad(measure: str, athletes: list[str]) -> str:
    return (
        f"{measure} is on trial for {listed(athletes)}, and no group's answer is given before its "
        "end, as every look would count."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "season cannot be read": _season_cannot_be_read,
    "fit failed": "The fit broke off ({error}); fit the season alone to see more.",
    "workers lost": "The workers that fitted it were lost {times} times over; try again, or fit "
    "the season alone.",
    "worker of another version": "The worker is of version {here} and was asked by version "
    "{asked}; install the same on both.",
    "came back of another season": "What the worker sent back is of another season; fit again.",
    "squad not fitted": "This squad was not fitted yet; fit it first.",
    "squad's file damaged": "{file} is damaged ({why}); fit the squad again.",
    "too few athletes": "A group needs at least {needed} athletes who were fitted; there is "
    "{athletes}. Each athlete's own answers are there all the same.",
    "few athletes": "The group is {athletes} athletes: how athletes differ is hardly known from so "
    "few, so what the group tells is wide.",
    "types meet": "{why} squad.toml maps them together; give each a name of its own there.",
    "not in the group": "Not fitted with the squad; fit the squad.",
    "changed since the squad's fit": "The season changed since the squad was fitted; fit it again.",
    "moved by approximation": "The group moves this athlete's numbers far, so they come from an "
    "approximation to what the readings say.",
    "on trial in the squad": _on_trial_in_the_squad,
    "one athlete uses it": "Only {athlete} uses {measure}, which says nothing of a group; compare "
    "it for that athlete alone.",
    "never used it": "{measure} was never used.",
    "nobody answered": "Nothing can be said of any of the {athletes} athletes.",
    "read later too": "Readings go on to {last_night}, after the morning asked about.",
    "read too long ago": "The last reading is of {last_night}, over {days} days before the morning "
    "asked about.",
}
