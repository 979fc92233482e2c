"""Sentences about the season taken apart: what a reading is made of, the years, the fit's worth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence

_JUDGED: Final = {
    "too narrow": "fewer than chance allows: the ranges are too narrow",
    "too wide": "more than chance allows: the ranges are too wide",
    "as they should be": "as it should be",
}


def _older_are_summed(percent: float, chance: float) -> str:
    return (
        f"sessions and stressors with less than {percent:g} % left, at a chance of at least "
        f"{100 * chance:g} %, are summed"
    )


def _share_inside(
    readings: int, share: float, level: float, low: float, high: float, ranges: str
) -> str:
    return (
        f"Of {readings} readings, {100 * share:.0f} % lay in the range foretold for them, which "
        f"should hold {100 * level:g} %; by chance that share varies from {100 * low:.0f} to "
        f"{100 * high:.0f} %, so this is {_JUDGED[ranges]}."
    )


def _change_of_dips_told(chance: float) -> str:
    return (
        "told only where the chance that sessions of the later half dip deeper, or that they dip "
        f"less deep, is at least {100 * chance:g} %"
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    # explain
    "shares add up": "baseline and all shares add up to the reading, in ln and in ms, in each "
    "draw, whatever the order they are taken in",
    "older are summed": _older_are_summed,
    # history
    "change of dips told": _change_of_dips_told,
    "sessions changed": "Sessions of the later half dip otherwise than those of the earlier, and "
    "the fit holds them alike: it takes a part of that for a change of baseline. Take the change "
    "of baseline with care, or fit the later half in a folder of its own.",
    "too few readings on a side": "Around {day} there are only {readings} readings on one side, "
    "over the same length on both; {needed} are needed. Go on logging, or ask for another day.",
    "sessions of a type": "sessions of {label}",
    "days of a stressor": "days of {label}",
    "nights with a measure": "nights with {label}",
    "readings by a sensor": "readings by {label}",
    # worth
    "no divergences": "The sampler went through without a divergent step in {draws} draws.",
    "chains agree": "Its chains agree (R-hat at most {rhat:.3f}; 1.01 is the limit).",
    "enough effective draws": "The draws are worth at least {ess:.0f} independent ones (400 are "
    "enough).",
    "share inside": _share_inside,
    "errors compared": "The middle of the range missed the reading by {error:.1f} ms on average, "
    "the mean of the last {nights} nights by {error_of_recent:.1f} ms.",
    "foretold from the nights before": "each reading is foretold from the readings of the nights "
    "before it; baseline is followed night by night, but what is learnt of types, rates, noise "
    "and the sessions before comes from the whole fit, later readings included, so this is kinder "
    "than a forecast of nights to come; a session that a night is the first to show counts as any "
    "session of its type",
    "mean of recent nights": "the mean of the last {nights} nights' readings in ms, by the same "
    "sensor, where at least {fewest} were read; errors of both are over the same nights",
}
